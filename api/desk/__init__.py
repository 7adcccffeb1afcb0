"""The desk: what happens to stock, holds, quotes and orders. Nothing here knows HTTP."""
