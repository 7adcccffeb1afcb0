"""The shapes of the JSON that comes in and goes out."""
