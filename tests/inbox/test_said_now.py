"""What the writer wrote now, without the mail that is quoted and without a signature.

How mail programs mark what they quote is common practice, no source; only "> " and "-- " stand somewhere: RFC 3676
4.3 and 4.5.
"""

from __future__ import annotations

import pytest

from notify.inbox.said_now import said_now

OURS = "> Your radio is ready.\n> Reply STOP to end these messages.\n"
ABOVE = [
    "On Mon, 23 Nov 2026 at 10:00, Tramstop Bench <bench@example.org> wrote:",
    "On Monday, November 23rd 2026 at 10:00 AM, Tramstop Bench\n<bench@example.org> wrote:",
    "On 23/11/2026 10:00,\nTramstop Bench\nwrote:",
    "Am 23.11.2026 um 10:00 schrieb Tramstop Bench:",
    "Am Mo., 23. Nov. 2026 um 10:00 Uhr schrieb Tramstop Bench <\nbench@example.org>:",
    "Il giorno lun 23 nov 2026 alle ore 10:00 Tramstop Bench <bench@example.org> ha scritto:",
    "Le lun. 23 nov. 2026 à 10:00, Tramstop Bench <bench@example.org> a écrit :",
    "Tramstop Bench <bench@example.org> schrieb am Mo., 23. Nov. 2026, 10:00:",
]
BLOCKS = [
    "-----Original Message-----\nFrom: Tramstop Bench",
    "-----Ursprüngliche Nachricht-----\nVon: Tramstop Bench",
    "----- Messaggio originale -----\nDa: Tramstop Bench",
    "________________________________\nFrom: Tramstop Bench <bench@example.org>\nSent: Monday\nTo: Pat",
    "From: Tramstop Bench <bench@example.org>\nSent: Monday, November 23, 2026\nTo: Pat\nSubject: Ready",
    "Von: Tramstop Bench <bench@example.org>\nGesendet: Montag, 23. November 2026\nAn: Pat\nBetreff: Fertig",
    "*Da:* Tramstop Bench\n*Inviato:* lunedì\n*A:* Pat\n*Oggetto:* Pronto",
    "De : Tramstop Bench\nEnvoyé : lundi\nÀ : Pat\nObjet : Prêt",
    "-- \nPat Smith\n01632 960123",
    "--\nPat",
    "Sent from my phone",
    "Von meinem Telefon gesendet",
    "Inviato dal mio telefono",
]


@pytest.mark.parametrize("above", ABOVE)
def test_a_quoted_mail_below_is_cut_off_with_the_line_above_it(above: str) -> None:
    assert said_now(f"Yes please.\n\n{above}\n\n{OURS}") == "Yes please."
    assert said_now(f"Yes please.\n\n{above}\n\nYour radio is ready.\nReply STOP.\n") == "Yes please."


@pytest.mark.parametrize("above", ABOVE)
def test_an_answer_below_the_quoted_mail_is_kept(above: str) -> None:
    assert said_now(f"{above}\n{OURS}\nYes please.\n") == "Yes please."


@pytest.mark.parametrize("block", BLOCKS)
def test_a_signature_or_a_whole_quoted_letter_ends_it(block: str) -> None:
    assert said_now(f"Yes please.\n\n{block}\nReply STOP.\n") == "Yes please."


def test_answers_between_quoted_lines_stay_in_their_order() -> None:
    assert said_now("> Repair it?\nYes.\n> When?\nOn Friday.\n") == "Yes.\nOn Friday."


@pytest.mark.parametrize(
    "text",
    [
        "On Monday I wrote: bring the charger.",
        "Von: mir aus gern.",
        "From: here it takes an hour.",
        "A -- B",
        "Am Montag schrieb ich schon: es eilt.\nDanke",
        "Da: niente",
        "From: Monday on I am away\nTo: make it short, please wait.\nPat",
        "My neighbour wrote:\nbring the charger",
        "Sie schrieb:\nes eilt",
    ],
)
def test_ordinary_lines_that_look_a_little_like_it_are_kept(text: str) -> None:
    assert said_now(text) == text


def test_a_sentence_that_a_mail_program_broke_is_one_again() -> None:
    broken = "I have thought about it for a while and would ask you to please stop\nsending me messages.\n\nPat"
    assert said_now(broken).split("\n")[0].endswith("please stop sending me messages.")
    assert said_now("Short line\nnext line") == "Short line\nnext line"


def test_nothing_but_a_quoted_mail_says_nothing() -> None:
    assert said_now(OURS) == said_now("") == said_now("\n\n-- \nPat") == ""
