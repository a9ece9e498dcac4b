"""A headless Chromium for the tests, and the accessibility rules of axe-core 4.14.1 (MPL-2.0)."""

from browser.driver import Browser, chromium_missing

__all__ = ["Browser", "chromium_missing"]
