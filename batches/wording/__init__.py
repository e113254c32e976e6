"""The fixed words of labels and of the public bottle page, a file for each language."""
