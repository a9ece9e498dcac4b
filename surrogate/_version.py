"""The version of the software, written into manifests and recipes."""

__version__ = "0.1.0"
