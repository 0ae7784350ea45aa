"""Colours of a cut face, and how far apart two of them are to the eye."""

from __future__ import annotations

import math
import re

from formulary.quantity import NotAQuantity

Lab = tuple[float, float, float]

_HEX = re.compile(r"#([0-9a-fA-F]{2})([0-9a-fA-F]{2})([0-9a-fA-F]{2})")
_LAB = re.compile(r"[Ll]ab[\s(]+(-?[\d.]+)[\s,]+(-?[\d.]+)[\s,]+(-?[\d.]+)\)?")

# sRGB to XYZ, and the D65 white from xy = (0.3127, 0.3290). Source: IEC 61966-2-1:1999.
_TO_XYZ = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
_WHITE = (0.3127 / 0.3290, 1.0, (1.0 - 0.3127 - 0.3290) / 0.3290)


def parse_colour(text: str) -> Lab:
    """The L*, a*, b* of a colour written `#c8b496` or `Lab 74.1 3.2 18.4`. Raises NotAQuantity."""
    stripped = text.strip()
    match = _HEX.fullmatch(stripped)
    if match:
        red, green, blue = (int(part, 16) for part in match.groups())
        return lab_of_srgb(red, green, blue)
    match = _LAB.fullmatch(stripped)
    try:
        if match:
            lightness, a, b = (float(part) for part in match.groups())
            if 0.0 <= lightness <= 100.0 and abs(a) <= 200.0 and abs(b) <= 200.0:
                return lightness, a, b
    except ValueError:
        pass
    raise NotAQuantity(f"{stripped[:40]!r} is not a colour", 'write "#c8b496" or "Lab 74.1 3.2 18.4"')


def lab_of_srgb(red: int, green: int, blue: int) -> Lab:
    """The L*, a*, b* (CIE 1976, D65) of a screen colour, each channel 0 to 255.

    Source: IEC 61966-2-1:1999 (sRGB), CIE 15 (CIELAB).
    """
    linear = [_linear(channel / 255.0) for channel in (red, green, blue)]
    scaled = [
        sum(factor * channel for factor, channel in zip(row, linear, strict=True)) / white
        for row, white in zip(_TO_XYZ, _WHITE, strict=True)
    ]
    fx, fy, fz = (_cube_root(value) for value in scaled)
    return 116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)


def colour_difference(before: Lab, after: Lab) -> float:
    """How far apart two colours look: CIEDE2000, all weights 1; about 1 can just be seen side by side.

    Source: Sharma, Wu, Dalal, "The CIEDE2000 color-difference formula: implementation notes, supplementary test
    data, and mathematical observations", Color Research and Application 30(1), 2005, 21-30.
    """
    l1, a1, b1 = before
    l2, a2, b2 = after
    mean_chroma = (math.hypot(a1, b1) + math.hypot(a2, b2)) / 2.0
    stretch = 1.0 + 0.5 * (1.0 - math.sqrt(mean_chroma**7 / (mean_chroma**7 + 25.0**7)))
    a1, a2 = a1 * stretch, a2 * stretch
    c1, c2 = math.hypot(a1, b1), math.hypot(a2, b2)
    h1, h2 = _hue(a1, b1), _hue(a2, b2)

    apart = h2 - h1
    # Hues that are opposite in exact arithmetic may come out a last bit beyond 180 degrees (published pair 14).
    if abs(apart) <= 180.0 + 1e-10:
        turn, hue = apart, (h1 + h2) / 2.0
    else:
        turn = apart - 360.0 if apart > 0 else apart + 360.0
        hue = (h1 + h2 + (360.0 if h1 + h2 < 360.0 else -360.0)) / 2.0
    if c1 * c2 == 0.0:
        turn, hue = 0.0, h1 + h2
    chroma, lightness = (c1 + c2) / 2.0, (l1 + l2) / 2.0

    delta_l, delta_c = l2 - l1, c2 - c1
    delta_h = 2.0 * math.sqrt(c1 * c2) * _sin(turn / 2.0)
    t = (
        1.0
        - 0.17 * _cos(hue - 30.0)
        + 0.24 * _cos(2.0 * hue)
        + 0.32 * _cos(3.0 * hue + 6.0)
        - 0.20 * _cos(4.0 * hue - 63.0)
    )
    s_l = 1.0 + 0.015 * (lightness - 50.0) ** 2 / math.sqrt(20.0 + (lightness - 50.0) ** 2)
    s_c = 1.0 + 0.045 * chroma
    s_h = 1.0 + 0.015 * chroma * t
    rotation = (
        -2.0 * math.sqrt(chroma**7 / (chroma**7 + 25.0**7)) * _sin(60.0 * math.exp(-(((hue - 275.0) / 25.0) ** 2)))
    )
    lightness_part, chroma_part, hue_part = delta_l / s_l, delta_c / s_c, delta_h / s_h
    return math.sqrt(lightness_part**2 + chroma_part**2 + hue_part**2 + rotation * chroma_part * hue_part)


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= 0.04045 else ((channel + 0.055) / 1.055) ** 2.4


def _cube_root(value: float) -> float:
    return math.cbrt(value) if value > (6.0 / 29.0) ** 3 else value / (3.0 * (6.0 / 29.0) ** 2) + 4.0 / 29.0


def _hue(a: float, b: float) -> float:
    return math.degrees(math.atan2(b, a)) % 360.0


def _sin(degrees: float) -> float:
    return math.sin(math.radians(degrees))


def _cos(degrees: float) -> float:
    return math.cos(math.radians(degrees))
