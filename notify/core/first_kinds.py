"""Kinds of repair that a new shop starts with, to correct: usual minutes on the bench. Common practice, no source."""

from __future__ import annotations

# What every ticket belongs to that names no kind, by language.
REST = {"en": "Another repair", "de": "Andere Reparatur", "it": "Altra riparazione"}
REST_MINUTES = 30
# (device class, minutes, name by language)
FIRST: tuple[tuple[str, int, dict[str, str]], ...] = (
    ("radio", 40, {"en": "Radio dial or switch", "de": "Skala oder Schalter am Radio", "it": "Scala o tasto radio"}),
    ("radio", 60, {"en": "Radio without sound", "de": "Radio ohne Ton", "it": "Radio senza suono"}),
    ("camera", 75, {"en": "Camera shutter", "de": "Kameraverschluss", "it": "Otturatore fotocamera"}),
    ("camera", 50, {"en": "Camera lens cleaning", "de": "Objektiv reinigen", "it": "Pulizia obiettivo"}),
    ("e_reader", 35, {"en": "Reader screen", "de": "Bildschirm am Lesegerät", "it": "Schermo lettore"}),
    ("e_reader", 25, {"en": "Reader battery", "de": "Akku am Lesegerät", "it": "Batteria lettore"}),
    ("handheld", 30, {"en": "Handheld stick or buttons", "de": "Stick oder Tasten", "it": "Levetta o tasti console"}),
    ("handheld", 45, {"en": "Handheld screen", "de": "Bildschirm der Konsole", "it": "Schermo console"}),
)


def in_language(names: dict[str, str], language: str) -> str:
    """The name in that language, else in English."""
    return names.get(language, names["en"])
