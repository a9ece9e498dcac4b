"""What was planned and why, and how it is applied to density."""
