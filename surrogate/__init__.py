"""Scans of fading photographs and paper become a numbered collection that people can trust."""

from surrogate._version import __version__

__all__ = ["__version__"]
