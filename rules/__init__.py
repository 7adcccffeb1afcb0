"""The trade: what a bench can make, what it costs and when; pure functions of the catalog and a spec."""
