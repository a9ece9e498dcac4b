"""Paper to print on: pages drawn in millimetres, text in many scripts, codes. Knows nothing of originals."""
