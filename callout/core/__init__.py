"""The pure core: standard library only, no files, clocks or threads."""
