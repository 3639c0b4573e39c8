"""Draw the figures of the README from the record of Old Quay: ``python demo_records/make_figures.py [FOLDER]``."""

from __future__ import annotations

import sys
from pathlib import Path

import strongmotion as sm
from strongmotion.report import motion_figure, save, spectrum_figure

HERE = Path(__file__).parent


def main(folder: Path) -> None:
    """Write ``quay_motion.png`` and ``quay_spectrum.png`` into `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    result = sm.process(sm.read(HERE / "quay.csv"))
    save(motion_figure(result), folder / "quay_motion.png")
    save(spectrum_figure(result), folder / "quay_spectrum.png")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "figures")
