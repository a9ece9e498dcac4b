"""Reading, density, colour management, strips and encoding; knows nothing of originals or collections."""
