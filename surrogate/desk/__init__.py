"""The desk: one quiet page on the volunteer's own machine for captions, backs and approval."""

from surrogate.desk.pages import create_app
from surrogate.desk.serving import desk

__all__ = ["create_app", "desk"]
