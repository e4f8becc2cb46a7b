"""Counts what was compared."""

import numpy as np


class Check:
    """Numbers and words held against what was worked out again."""

    def __init__(self, name):
        self.name, self.count, self.cells, self.off = name, 0, 0, []

    def near(self, what, found, expected):
        self.count += 1
        if not np.isclose(float(found), float(expected), rtol=1e-9, atol=1e-9):
            self.off.append(f"{self.name}: {what} is {found}, worked out again {expected}")

    def same(self, what, found, expected):
        self.count += 1
        if found != expected:
            self.off.append(f"{self.name}: {what} is {found!r}, worked out again {expected!r}")

    def unknown(self, what):
        self.off.append(f"{self.name}: {what} is not checked by anything here")
