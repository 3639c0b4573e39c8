"""Settings: defaults that document themselves, and errors that name the key."""

from __future__ import annotations

import dataclasses

import pytest

from strongmotion import Settings, SettingsError


def test_defaults_round_trip_through_toml(tmp_path):
    path = tmp_path / "settings.toml"
    path.write_text(Settings().to_toml(), encoding="utf-8")
    assert Settings.load(path) == Settings()


def test_every_setting_has_a_comment():
    text = Settings().to_toml().splitlines()
    for section in (s for s in dataclasses.fields(Settings) if s.name != "records"):
        for item in dataclasses.fields(getattr(Settings(), section.name)):
            at = next(i for i, line in enumerate(text) if line.startswith(f"{item.name} ="))
            assert text[at - 1].startswith("# ")


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"filter": {"lowcut": 1}}, r"unknown setting 'filter.lowcut', perhaps 'low_cut'"),
        ({"filtr": {}}, r"unknown setting 'filtr', perhaps 'filter'"),
        ({"filter": 3}, r"filter must be a section, \[filter\], found 3"),
        ({"filter": {"order": 4.5}}, r"\[filter\] order = 4.5 is not allowed: it must be a whole number"),
        ({"filter": {"order": True}}, "order = True is not allowed"),
        ({"filter": {"phase": "zero"}}, 'must be "acausal" or "causal"'),
        ({"filter": {"low_cut": -1}}, "low_cut = -1 is not allowed"),
        ({"filter": {"low_cut": float("nan")}}, "low_cut = nan is not allowed"),
        ({"spectra": {"damping": []}}, "damping = .* is not allowed"),
        ({"spectra": {"periods": [1.0, -2.0]}}, "periods = .* none negative"),
        ({"onset": {"ratio": "high"}}, "ratio = 'high' is not allowed"),
    ],
)
def test_wrong_settings_are_refused_by_name(values, message):
    with pytest.raises(SettingsError, match=message):
        Settings.from_dict(values)


@pytest.mark.parametrize(
    ("content", "message"), [(b"filter = [", "is not TOML"), (b"\xff\xfe", "is not TOML"), (None, "cannot be read")]
)
def test_files_that_are_not_settings(tmp_path, content, message):
    path = tmp_path / "settings.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(SettingsError, match=message):
        Settings.load(path)


def test_hash_tells_settings_apart():
    assert Settings().sha256 == Settings.from_dict({}).sha256
    assert Settings().sha256 != Settings.from_dict({"filter": {"order": 6}}).sha256
