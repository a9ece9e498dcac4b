"""The collection folder on disk: settings, paths, reference numbers, catalogue."""
