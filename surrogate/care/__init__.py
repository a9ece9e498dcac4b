from surrogate.care.caring import CareReport, care

__all__ = ["CareReport", "care"]
