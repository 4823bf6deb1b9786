"""From the bytes of a raw file to preamble, headings and rows of cells; nothing is understood yet."""
