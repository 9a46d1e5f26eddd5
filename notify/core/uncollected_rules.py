"""Examples of laws on repaired things that nobody collects: none verified, none active, none legal advice.

Somebody at the shop reads the law itself, corrects the row, and switches exactly one on. Months are counted as the most
days they can have (1: 31, 3: 92, 6: 184, from the calendar), so that no period is too short. Places whose figures were
not to be had (Ireland, New Zealand, New York, Scotland, Tasmania, Victoria) are left out rather than guessed.
"""

from __future__ import annotations

from notify.core.uncollected import Rule

_READ = "as read in November 2026, not checked by a lawyer"
EXAMPLES: tuple[Rule, ...] = (
    Rule(
        "england_wales_ni", "England, Wales, Northern Ireland", 0, 92,
        "In writing, by registered post or recorded delivery: your name and address, the goods and where they are, "
        "the day, what is owed. Not while a sum is disputed. 3 months if money is owed, else a reasonable time.",
        f"Torts (Interference with Goods) Act 1977, s. 12 and Sch. 1; s. 13 for a court's order; {_READ}",
    ),
    Rule(
        "new_south_wales_low", "New South Wales, under A$1,000", 0, 14,
        "Spoken or in writing: name of the business, the goods, the address to collect, the charges.",
        f"Uncollected Goods Act 1995, s. 20, as amended from 1 July 2020; {_READ}. Older figures are still about.",
    ),
    Rule(
        "new_south_wales", "New South Wales, A$1,000 to A$20,000", 0, 28,
        "In writing: name of the business, the goods, the address to collect, the charges.",
        f"Uncollected Goods Act 1995, as amended from 1 July 2020; {_READ}. Older figures are still about.",
    ),
    Rule(
        "queensland", "Queensland", 184, 28,
        "A sign in the shop with set words before anything is taken in; a notice in a newspaper.",
        f"The state's own page on uncollected goods (qld.gov.au): 6 months after they were told, then 28 days; {_READ}",
    ),
    Rule(
        "western_australia", "Western Australia", 0, 184,
        "Set forms; above A$3,500 (since 12 June 2017) a court's order.",
        f"Commerce Western Australia, guide and notice of the change of 2017: usually 6 months; {_READ}",
    ),
    Rule(
        "ontario", "Ontario", 60, 15,
        "A written notice of 15 days (from memory); an own way with 30 days for objections.",
        f"Repair and Storage Liens Act, R.S.O. 1990 c. R.25: 60 days after payment was due; {_READ}",
    ),
    Rule(
        "british_columbia", "British Columbia", 90, 0,
        "The steps under s. 2(2) were not seen: read them before you switch this on.",
        f"Repairers Lien Act, s. 2: unpaid 90 days after it ought to be paid; {_READ}",
    ),
    Rule(
        "california", "California, charges up to $150", 60, 30,
        "The word that it is ready by first-class mail; later a second notice. Needs a summary signed at check-in, and "
        "a sign in the shop.",
        f"California Civil Code 3052b: 30 days, not less than 30 more, then 30 to pay; {_READ}",
    ),
    Rule(
        "california_household", "California, household goods", 90, 0,
        "Registered letter that names time and place. 12 months instead of 90 days where storing was agreed.",
        f"California Civil Code 3066: 90 days after completion; {_READ}",
    ),
    Rule(
        "texas", "Texas", 60, 31,
        "A request to pay, then from the 11th day a notice of 20 days (both from memory).",
        f"Texas Property Code 70.001 and 70.005, the latter from memory; {_READ}",
    ),
    Rule(
        "germany", "Deutschland", 0, 31,
        "Androhung gegenüber dem Eigentümer, am besten mit Nachweis; die Forderung muss fällig sein.",
        f"BGB § 647 (Pfandrecht des Unternehmers), § 1234 (ein Monat nach der Androhung), aus dem Gedächtnis; {_READ}",
    ),
)  # fmt: skip
BY_CODE = {rule.code: rule for rule in EXAMPLES}
