"""What the writer wrote now: a letter's text without the mail it answers and without a signature."""

from __future__ import annotations

import re

LONGEST = 20_000  # characters that are kept
_MOST_LINES = 5000
_LINE = 500  # characters of a line that are looked at
# What mail programs write above the mail they quote, in the languages of this product's customers: common practice, no
# source. Looked for word by word, because patterns over a stranger's lines can take quadratic time.
_WROTE = ("wrote", "schrieb", "a écrit", "ha scritto", "escribió", "schreef", "escreveu")
_OPENS = re.compile(r"(?:on|am|le|il|el|op|em|den)\s.{0,80}\d", re.IGNORECASE)
_ORIGINAL = frozenset(
    (
        "original message",
        "forwarded message",
        "begin forwarded message",
        "ursprüngliche nachricht",
        "originalnachricht",
        "weitergeleitete nachricht",
        "messaggio originale",
        "messaggio inoltrato",
        "message d'origine",
        "message transféré",
        "mensaje original",
        "oorspronkelijk bericht",
    )
)
_FROM = frozenset("from von da de van".split())
_MORE_FIELDS = frozenset(
    "sent date to cc subject gesendet datum an betreff inviato data a oggetto envoyé à objet verzonden aan onderwerp "
    "enviado para asunto assunto".split()
)
_SIGNATURE = re.compile(r"--|—|_{2,}")
_SENT_FROM = re.compile(
    r"(?:sent from my|sent via|get outlook for|von meinem .{1,40} gesendet"
    r"|gesendet (?:von|mit) (?:meinem|mein|der|outlook)|inviato da(?:l mio)? "
    r"|envoyé de(?:puis)? mon|enviado desde mi|verzonden vanaf mijn)",
    re.IGNORECASE,
)
_WRAPPED = 60  # a line that would have been longer than this with the next word was broken by a program


def said_now(text: str) -> str:
    """The new words, at most 20,000 characters. Interleaved answers stay, in their order."""
    lines = [line.rstrip() for line in text[: 10 * LONGEST].split("\n")[:_MOST_LINES]]
    kept: list[str] = []
    at = 0
    while at < len(lines):
        line = lines[at].strip()[:_LINE]
        if _ends_here(line) or _is_block(lines, at):
            break
        above = _attribution(lines, at)
        if above and not _quote_follows(lines, at + above):
            break
        if not above and not line.startswith(">"):
            kept.append(lines[at])
        at += above or 1
    return _unwrapped(kept)[:LONGEST].strip()


def _ends_here(line: str) -> bool:
    """Whether a signature begins, or a whole letter is quoted or passed on."""
    quoted = line.strip("-_ :*").replace("\u2019", "'").casefold() in _ORIGINAL
    return quoted or bool(_SIGNATURE.fullmatch(line) or _SENT_FROM.match(line))


def _attribution(lines: list[str], at: int) -> int:
    """How many lines, up to three, say who wrote what follows; 0 if they do not."""
    first = lines[at].strip()[:_LINE]
    if not first or first.startswith(">"):
        return 0
    for count in (1, 2, 3) if _OPENS.match(first) else (1,):
        together = " ".join(line.strip()[:_LINE] for line in lines[at : at + count])
        if _says_who(together):
            return count
    return 0


def _says_who(text: str) -> bool:
    """`On Monday 23 November 2026 at 10:00, Pat wrote:`; a date or an address stands in it."""
    small = text.casefold()
    dated = bool(_OPENS.match(small)) or ("<" in small and "@" in small)
    return dated and small.endswith(":") and any(verb in small for verb in _WROTE)


def _quote_follows(lines: list[str], at: int) -> bool:
    following = next((line for line in lines[at : at + 5] if line.strip()), "")
    return following.lstrip().startswith(">")


def _is_block(lines: list[str], at: int) -> bool:
    """Whether the header of a quoted letter stands here: who it is from, and at least two more fields."""
    return _name(lines[at]) in _FROM and sum(_name(line) in _MORE_FIELDS for line in lines[at + 1 : at + 6]) >= 2


def _name(line: str) -> str:
    """The name of a field in such a header, perhaps set in bold; "" for a line that is none."""
    before, colon, _ = line.strip()[:_LINE].partition(":")
    return before.strip("* \t\u00a0").casefold() if colon else ""


def _unwrapped(lines: list[str]) -> str:
    """Lines that a mail program broke are joined again, so that a sentence stays one."""
    whole: list[str] = []
    last = ""
    for line in lines:
        word = line.split(maxsplit=1)[0] if line.strip() else ""
        if word and last and len(last) + 1 + len(word) > _WRAPPED and word[0].isalnum():
            whole[-1] += " " + line.strip()
        else:
            whole.append(line)
        last = line.strip()
    return re.sub(r"\n{3,}", "\n\n", "\n".join(whole))
