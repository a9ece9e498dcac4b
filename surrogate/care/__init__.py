from surrogate.care.caring import CareReport, Plan, care

__all__ = ["CareReport", "Plan", "care"]
