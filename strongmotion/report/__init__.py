"""What a person looks at: figures of one result."""

from .figures import motion_figure, save, spectrum_figure

__all__ = ["motion_figure", "save", "spectrum_figure"]
