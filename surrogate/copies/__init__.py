"""Copies that people may handle: viewing, reading, thumbnails, prints to frame, labels."""
