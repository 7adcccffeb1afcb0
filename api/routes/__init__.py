"""The resources, one module each. No logic: they read, ask and answer."""
