"""What Python users expect: many records at once, settings changed and checked, xarray, a notebook's view."""

from __future__ import annotations

import builtins

import numpy as np
import openpyxl
import pandas as pd
import pytest
from typer.testing import CliRunner

import strongmotion as sm
from strongmotion.archive import write_catalogue
from strongmotion.cli import app

FAST = sm.Settings().replace(spectra={"periods": [0.2, 0.5, 1.0], "damping": [0.05, 0.02]})


@pytest.fixture(scope="module")
def results():
    steps = []
    names = ("quay.csv", "mole.txt")
    found = sm.process(
        (sm.read(f"demo_records/{name}") for name in names), FAST, progress=lambda done, of: steps.append((done, of))
    )
    assert steps == [(0, 2), (1, 2), (2, 2)]
    return found


@pytest.fixture(scope="module")
def archive(results, tmp_path_factory):
    store = sm.Archive(tmp_path_factory.mktemp("a") / "b<i>", create=True)
    for result in results:
        store.add(result)
    return store


def test_many_records_give_what_each_gives_alone(results):
    alone = sm.process(sm.read("demo_records/mole.txt"), FAST)
    assert results[1] == alone
    assert sm.process([]) == []
    for wrong in ("demo_records/quay.csv", ["demo_records/quay.csv"], {"a": 1}, 3):
        with pytest.raises(sm.InputError, match="expected a Record"):
            sm.process(wrong)


def test_settings_are_replaced_and_checked_at_once():
    base = sm.Settings().replace(filter={"low_cut": 0.1}, records={"A": {"filter": {"low_cut": 0.2}}})
    changed = base.replace(filter={"order": 6}, measures={"threshold": 0.1})
    assert (changed.filter.low_cut, changed.filter.order, changed.measures.threshold) == (0.1, 6, 0.1)
    assert base.filter.order != 6
    assert changed.records == base.records
    for wrong, message in (
        ({"filtre": {}}, "unknown setting 'filtre', perhaps 'filter'"),
        ({"filter": {"lowcut": 1}}, "perhaps 'low_cut'"),
        ({"filter": {"low_cut": "high"}}, "low_cut"),
        ({"filter": 3}, "must be a section"),
    ):
        with pytest.raises(sm.SettingsError, match=message):
            sm.Settings().replace(**wrong)


def test_a_result_as_xarray_holds_its_motion_and_spectra(results):
    result = results[0]
    data = result.to_xarray()
    motion = result.motion["H2"]
    np.testing.assert_array_equal(data["velocity"].sel(component="H2"), motion.velocity)
    np.testing.assert_array_equal(data["time"], motion.time)
    for row in result.spectra.sample(20, random_state=1).itertuples():
        at = {"spectral_component": row.component, "damping": row.damping, "period": row.period}
        assert float(data["psa"].sel(at)) == row.psa
        assert bool(data["usable"].sel(at)) == row.usable
    assert data["usable"].dtype == bool
    assert (data["psa"].attrs["units"], data["displacement"].attrs["units"]) == ("m/s2", "m")
    assert "licensed engineers" in data.attrs["caution"]


def test_an_archive_as_xarray_holds_all_spectra(archive, results):
    data = archive.to_xarray()
    assert data["psa"].dims == ("record", "component", "damping", "period")
    for result in results:
        one = data.sel(record=result.record.id)
        assert one["station"].item() == result.record.station.code
        for row in result.spectra.sample(10, random_state=2).itertuples():
            at = {"component": row.component, "damping": row.damping, "period": row.period}
            assert float(one["psa_high"].sel(at)) == pytest.approx(row.psa_high, nan_ok=True, rel=0)
            assert bool(one["usable"].sel(at)) == row.usable
    assert archive.to_xarray("station == 'QUAY'").sizes["record"] == 1


def test_without_xarray_the_error_says_what_to_install(monkeypatch, archive, results):
    real = builtins.__import__

    def absent(name, *rest):
        if name == "xarray":
            raise ImportError(name)
        return real(name, *rest)

    monkeypatch.setattr(builtins, "__import__", absent)
    for call in (results[0].to_xarray, archive.to_xarray):
        with pytest.raises(sm.InputError, match="xarray is not installed"):
            call()


def test_a_notebook_shows_an_archive(archive):
    shown = archive._repr_html_()
    assert all(record in shown for record in archive)
    assert "b&lt;i&gt;" in shown
    assert "pga_h_m_s2" in shown
    assert "licensed engineers" in shown


def test_the_catalogue_is_written_for_a_spreadsheet(archive, tmp_path):
    path = tmp_path / "c.xlsx"
    shown = CliRunner().invoke(app, ["catalogue", str(archive.folder), "--excel", str(path), "--unit", "g"])
    assert shown.exit_code == 0, shown.output
    back = pd.read_excel(path)
    wanted = archive.catalogue("g")
    np.testing.assert_allclose(back["pga_h_g"], wanted["pga_h_g"], rtol=1e-12)
    assert back["caution"].str.contains("licensed engineers").all()
    write_catalogue(pd.DataFrame({"station": ["=1+1"]}), excel=path)  # a file's text never becomes a formula
    cell = openpyxl.load_workbook(path).active["A2"]
    assert (cell.value, cell.data_type) == ("'=1+1", "s")
