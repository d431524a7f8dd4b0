"""knowngood: the bench companion of a small power-equipment repair shop."""

__version__ = "0.1.0"
