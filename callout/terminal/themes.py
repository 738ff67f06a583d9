"""The two colour themes: a light one for sun and glare, a dark one for dusk.

Colours only. Every pair that carries text has a contrast of 7:1 or better (WCAG 2.2, success
criterion 1.4.6).
"""

from __future__ import annotations

from textual.theme import Theme

PAIRS = ("ask", "check", "saved", "refused", "calm")
"""Each names two variables, ``<name>-back`` and ``<name>-text``."""

_SUN = {
    "ask-back": "#003a9e",
    "ask-text": "#ffffff",
    "check-back": "#ffc400",
    "check-text": "#000000",
    "saved-back": "#004d1a",
    "saved-text": "#ffffff",
    "refused-back": "#8f0000",
    "refused-text": "#ffffff",
    "calm-back": "#e4e4e4",
    "calm-text": "#000000",
}

_DUSK = {
    "ask-back": "#8cc4ff",
    "ask-text": "#000000",
    "check-back": "#ffd54a",
    "check-text": "#000000",
    "saved-back": "#7be495",
    "saved-text": "#000000",
    "refused-back": "#ffb0a8",
    "refused-text": "#000000",
    "calm-back": "#2b2b2b",
    "calm-text": "#ffffff",
}

SUN = Theme(
    name="callout-sun",
    primary="#003a9e",
    foreground="#000000",
    background="#ffffff",
    surface="#ffffff",
    panel="#e4e4e4",
    dark=False,
    text_alpha=1.0,
    variables=_SUN,
)

DUSK = Theme(
    name="callout-dusk",
    primary="#8cc4ff",
    foreground="#ffffff",
    background="#000000",
    surface="#000000",
    panel="#2b2b2b",
    dark=True,
    text_alpha=1.0,
    variables=_DUSK,
)
