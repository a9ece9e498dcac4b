"""Pairing recto and verso, finding prints on a sheet, preserving masters, setting bad scans aside."""
