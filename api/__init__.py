"""The edge: HTTP, the command line, files and the clock. Holds no rule of the trade."""
