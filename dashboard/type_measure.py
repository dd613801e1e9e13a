"""How many lines a text will take, from the advance widths of the page's typeface. Knows no page.

Needed because the server draws leaders to words whose height only the browser knows. Where another family steps in, or the reader
sets larger type, the words move down rather than overlap.
"""

# Brygada 1918, weight 400, advance widths of U+0020..U+007E [1/1000 em], read from the font file's hmtx table
_WIDTHS = (
    230,
    190,
    352,
    714,
    602,
    850,
    723,
    202,
    312,
    312,
    486,
    510,
    195,
    380,
    190,
    392,
    580,
    580,
    600,
    580,
    640,
    580,
    580,
    580,
    580,
    580,
    190,
    195,
    510,
    510,
    510,
    450,
    925,
    702,
    680,
    685,
    750,
    639,
    580,
    743,
    780,
    400,
    424,
    705,
    598,
    910,
    755,
    740,
    610,
    740,
    705,
    602,
    610,
    730,
    686,
    986,
    668,
    641,
    581,
    310,
    392,
    310,
    535,
    400,
    129,
    525,
    593,
    500,
    607,
    520,
    340,
    540,
    635,
    320,
    310,
    578,
    315,
    940,
    640,
    560,
    603,
    595,
    465,
    468,
    350,
    598,
    516,
    778,
    540,
    514,
    497,
    310,
    245,
    310,
    510,
)
_OTHER = 600
_ALIKE = str.maketrans("äöüÄÖÜß„“”", 'aouAOUB"""', "\u00ad")
"""Letters that are as wide as others; a soft hyphen has no width."""

_SEMIBOLD = 1.02  # weight 600 against 400, mean over a-z


def width(text: str, semibold: bool = False) -> float:
    """[em]"""
    total = sum(
        _WIDTHS[ord(c) - 32] if 32 <= ord(c) < 127 else 200 if c in "\u202f\u2019" else _OTHER
        for c in text.translate(_ALIKE)
    )
    return total / 1000 * (_SEMIBOLD if semibold else 1.0)


def lines(text: str, width_em: float, semibold: bool = False) -> int:
    """Lines of a text set in a column [em], broken at spaces."""
    if not text:
        return 0
    count, used = 1, 0.0
    for word in text.split(" "):
        needed = width(word, semibold)
        if used and used + 0.23 + needed > width_em:
            count, used = count + 1, needed
        else:
            used += needed + (0.23 if used else 0.0)
    return count


def shortened(text: str, width_em: float) -> str:
    """Cut to a width, with an ellipsis where something is gone."""
    if width(text) <= width_em:
        return text
    while text and width(text) + 0.6 > width_em:
        text = text[:-1]
    return text.rstrip() + "…"
