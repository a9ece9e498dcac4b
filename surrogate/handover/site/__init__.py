"""The copies as a static site: pages, search, deep zoom and IIIF, made of plain files."""

from surrogate.handover.site.publish import Leaked, PublishReport, publish

__all__ = ["Leaked", "PublishReport", "publish"]
