"""Which way up a figure is poured: every direction tried, the best ones ranked with reasons."""
