"""The measurements behind ``deploy/bench.py``, a module for each kind."""
