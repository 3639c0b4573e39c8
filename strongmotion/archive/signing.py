"""Checkpoints of an archive, signed, to be kept elsewhere.

A checkpoint lists the last entries of every record's manifest; with them all earlier entries are known, since each
holds the hashes of those before it. Held against it, an archive cannot have lost an entry or a file unseen. It is
signed by Ed25519 (RFC 8032); OpenSSL makes the keys:

    openssl genpkey -algorithm ed25519 -out private.pem
    openssl pkey -in private.pem -pubout -out public.pem
"""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..foundation.errors import ArchiveError, InputError
from ..foundation.files import write_whole
from .gate import read_regular
from .manifest import heads_of
from .provenance import now
from .typed import fits

if TYPE_CHECKING:
    from .store import Archive, Problem

__all__ = ["check_against", "sign"]

_LARGEST = 1 << 30
_FIELDS = {"strongmotion_checkpoint": int, "time": str, "by": str, "heads": dict[str, list[str]]}


def sign(archive: Archive, key: str | Path, checkpoint: str | Path, by: str = "") -> int:
    """Write a signed checkpoint of an archive.

    Parameters
    ----------
    archive : Archive
    key : str or Path
        An Ed25519 private key, PEM without a password.
    checkpoint : str or Path
        Where it goes; a file of this name is replaced. Keep it elsewhere than the archive.
    by : str
        Who signs.

    Returns
    -------
    int
        Records it covers.

    Raises
    ------
    ArchiveError
        A manifest was changed, or the file cannot be written.
    InputError
        The key is none, or the library for signing is not installed.
    """
    private = _key(key, private=True)
    heads = {record: heads_of(archive.manifest.entries(record)) for record in archive.manifest.records()}
    heads = {record: head for record, head in heads.items() if head}
    said = {"strongmotion_checkpoint": 1, "time": now(), "by": by, "heads": heads}
    text = _text(said)
    signature = base64.b64encode(private.sign(text)).decode()
    content = json.dumps({"signed": said, "ed25519": signature}, sort_keys=True, indent=1, ensure_ascii=False)
    write_whole(Path(checkpoint), f"{content}\n".encode(), replace=True)
    return len(heads)


def check_against(archive: Archive, key: str | Path, checkpoint: str | Path) -> list[Problem]:
    """Return what an archive has lost since a checkpoint.

    Raises
    ------
    ArchiveError
        The checkpoint cannot be read, or its signature is not by this key.
    InputError
        The key is none, or the library for signing is not installed.
    """
    from .store import Problem

    public = _key(key, private=False)
    said = _signed(Path(checkpoint), public)
    problems = []
    for record, heads in sorted(said["heads"].items()):
        folder = archive.manifest.folder / record
        if Path(record).name != record:
            raise ArchiveError(f"names a record {record!r}", source=str(checkpoint))
        entries, _ = archive.manifest.problems(record) if record in archive.manifest else ([], [])
        lost = sorted(set(heads) - {entry.sha256 for entry in entries})
        if lost:
            what = f"has lost {len(lost)} of the entries that the checkpoint of {said['time']} knows: {lost[0][:16]}..."
            problems.append(Problem(folder, f"{what} Restore the record's manifest and files from a copy."))
    return problems


def _signed(path: Path, public: Any) -> dict[str, Any]:
    from cryptography.exceptions import InvalidSignature

    try:
        whole = json.loads(bytes(read_regular(path, _LARGEST)))
        said, signature = whole["signed"], base64.b64decode(whole["ed25519"], validate=True)
        if not all(fits(said[name], hint) for name, hint in _FIELDS.items()):
            raise ValueError("a field is wrong")
        public.verify(signature, _text(said))
    except InvalidSignature:
        raise ArchiveError(
            "is not signed by this key, or was changed", source=str(path), remedy="Take the checkpoint from its keeper"
        ) from None
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise ArchiveError(f"is no checkpoint: {error}", source=str(path)) from None
    checked: dict[str, Any] = said
    return checked


def _text(said: dict[str, Any]) -> bytes:
    return json.dumps(said, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def _key(path: str | Path, private: bool) -> Any:
    try:
        from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
        from cryptography.hazmat.primitives.serialization import load_pem_private_key, load_pem_public_key
    except ImportError:
        raise InputError("signing needs cryptography", remedy="Install strongmotion[sign]") from None
    try:
        content = Path(path).expanduser().read_bytes()
        key = load_pem_private_key(content, None) if private else load_pem_public_key(content)
    except OSError as error:
        raise InputError(f"the key cannot be read: {error.strerror}", remedy=f"Check {path}") from None
    except (ValueError, TypeError) as error:
        raise InputError(f"{path} holds no key: {error}", remedy=_REMEDY) from None
    if not isinstance(key, Ed25519PrivateKey if private else Ed25519PublicKey):
        raise InputError(f"{path} holds a key of another kind than Ed25519", remedy=_REMEDY)
    return key


_REMEDY = "Make one by `openssl genpkey -algorithm ed25519`"
