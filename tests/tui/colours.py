"""Colours as eyes see them: sRGB to CIE L*a*b*, and a simulation of colour-blind sight. For tests of the themes only.

sRGB: IEC 61966-2-1. L*a*b*: CIE 15, white point D65 (0.95047, 1, 1.08883). Difference: CIE 1976.

Colour-blind sight: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A physiologically-based model for simulation of
color vision deficiency", IEEE Transactions on Visualization and Computer Graphics 15 (6), 2009, 1291-1298: matrices of
severity 1.0, applied to linear sRGB. Their numbers are written down from memory and checked by what must hold of them
(rows that add up to one leave grey as it is). The authors call the tritan case less certain.
"""

import numpy as np

MACHADO_2009 = {
    "normal": np.eye(3),
    "protan": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deutan": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritan": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}

_TO_XYZ = np.array(
    [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
)
_WHITE = np.array([0.95047, 1.0, 1.08883])


def linear(colour):
    """Hex colour to linear sRGB, three numbers from 0 to 1."""
    channels = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    return np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """Linear sRGB to L*, a*, b*."""
    ratio = _TO_XYZ @ np.clip(rgb, 0.0, 1.0) / _WHITE
    f = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def difference(first, second, sight="normal"):
    """CIE 1976 difference of two hex colours as seen with this sight."""
    seen = [lab(MACHADO_2009[sight] @ linear(colour)) for colour in (first, second)]
    return float(np.linalg.norm(seen[0] - seen[1]))
