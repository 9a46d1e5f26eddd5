"""One rich context per notice, with invented data, and the same context with everything optional empty."""

from __future__ import annotations

from typing import Any

from notify.core.languages import LANGUAGES as LANGUAGES

CUSTOMER = (
    "checked_in question part_ordered part_arrived promise_changed ready called_back pickup_confirmed"
    " pickup_moved pickup_cancelled pickup_reminder collection_reminder handed_back stop_confirmed start_confirmed"
    " help_answer all_well contact_code contact_changed_old link_replaced pickup_missed_note proposal_declined"
    " request_news forget_soon"
).split()
SHOP = ["answer_shop", "part_arrived_shop", "call_needed", "pickup_booked_shop", "pickup_given_up_shop", "reply_shop",
        "promise_threatened_shop", "part_late_shop", "hold_review_shop", "request_due_shop"]  # fmt: skip
LINK = "https://bench.example.org/c/" + "k7d3h5rt2x8cvb4n6gpj9f1s3u5e7k2d"  # 60 characters
STOP_LINK = "https://bench.example.org/u/" + "J3kq0PZ7TtWm5yXb8nVc2rLdA1sGfHjUoEiB"  # 64 characters

SEVERAL = ("ready", "handed_back", "all_well", "collection_reminder", "pickup_confirmed", "pickup_reminder",
           "pickup_missed_note")  # fmt: skip
# What a notice is about; everything else may be empty. (The planner never sends it without.)
ESSENTIAL = {
    "question": ("question",),
    "contact_code": ("code",),
    "request_news": ("request",),
    "forget_soon": ("request",),
    "request_due_shop": ("request",),
    "pickup_confirmed": ("slot",),
    "pickup_moved": ("slot",),
    "pickup_cancelled": ("slot",),
    "proposal_declined": ("slot",),
    "pickup_reminder": ("slot",),
    "pickup_booked_shop": ("slot",),
    "pickup_given_up_shop": ("slot",),
}

_WORDS: dict[str, dict[str, Any]] = {
    "en": {
        "hours": "Thursday, 26 November, 09:00-18:00",
        "camera": "Lumen 3 camera",
        "radio": "Harbour R2 radio",
        "classes": ("camera", "portable radio"),
        "shelved": "It is ready on the shelf.",
        "fault": "The shutter sticks after the second picture.",
        "reason": "There is no part for it any more.",
        "flag": "battery swollen",
        "caution": "Keep it away from anything that burns.",
        "promise": "Thursday, 26 November, by 11:30",
        "old_promise": "Wednesday, 25 November, by 17:00",
        "why": {
            "promise_changed": "the part is late at our supplier",
            "promise_threatened_shop": "the part comes too late for it",
            "called_back": "on the last look the fault was there again",
            "pickup_moved": "on that evening we close early",
            "pickup_cancelled": "you asked us to cancel it",
            "call_needed": "the text message could not be delivered",
        },
        "phases": {
            "checked_in": "It is with us; nobody has looked yet.",
            "part_arrived_shop": "It waits in line for the bench.",
            "part_late_shop": "It waits in line for the bench.",
            "promise_threatened_shop": "It waits in line for the bench.",
            "called_back": "It waits in line for the bench.",
            "handed_back": "It is with you again.",
            "all_well": "It is with you again.",
        },
        "wording": "The shutter is only to be had in silver, not in black. Shall we fit the silver one?",
        "options": ("Yes, fit the silver one", "No, wait for the black one", "No, give it back as it is"),
        "until": "Friday, 27 November, 18:00",
        "by": "the customer, on the claim page",
        "part": "shutter unit, silver",
        "due": "Thursday, 26 November",
        "day": "Thursday, 26 November",
        "place": "4 Ferry Steps, Quillhaven",
        "waits_on": "it waits for the bench",
    },
    "de": {
        "hours": "Donnerstag, 26. November, 09:00-18:00",
        "camera": "Kamera Lumen 3",
        "radio": "Hafenradio R2",
        "classes": ("Kamera", "Kofferradio"),
        "shelved": "Es liegt abholbereit im Regal.",
        "fault": "Der Verschluss klemmt nach dem zweiten Bild.",
        "reason": "Dafür gibt es kein Ersatzteil mehr.",
        "flag": "Akku aufgebläht",
        "caution": "Halten Sie es von allem fern, was brennt.",
        "promise": "Donnerstag, 26. November, bis 11:30 Uhr",
        "old_promise": "Mittwoch, 25. November, bis 17:00 Uhr",
        "why": {
            "promise_changed": "das Ersatzteil verspätet sich beim Lieferanten",
            "promise_threatened_shop": "das Ersatzteil kommt dafür zu spät",
            "called_back": "beim letzten Blick war der Fehler wieder da",
            "pickup_moved": "an dem Abend schließen wir früher",
            "pickup_cancelled": "Sie haben uns darum gebeten",
            "call_needed": "die SMS konnte nicht zugestellt werden",
        },
        "phases": {
            "checked_in": "Es ist bei uns; noch hat niemand nachgesehen.",
            "part_arrived_shop": "Es wartet auf die Werkbank.",
            "part_late_shop": "Es wartet auf die Werkbank.",
            "promise_threatened_shop": "Es wartet auf die Werkbank.",
            "called_back": "Es wartet auf die Werkbank.",
            "handed_back": "Es ist wieder bei Ihnen.",
            "all_well": "Es ist wieder bei Ihnen.",
        },
        "wording": "Den Verschluss gibt es nur noch in Silber. Sollen wir den silbernen einbauen?",
        "options": ("Ja, den silbernen einbauen", "Nein, auf den schwarzen warten", "Nein, so zurückgeben"),
        "until": "Freitag, 27. November, 18:00 Uhr",
        "by": "der Kunde, auf der Abholseite",
        "part": "Verschlusseinheit, silber",
        "due": "Donnerstag, 26. November",
        "day": "Donnerstag, 26. November",
        "place": "Fährtreppe 4, Quillhaven",
        "waits_on": "es wartet auf die Werkbank",
    },
    "it": {
        "hours": "giovedì 26 novembre, 09:00-18:00",
        "camera": "Fotocamera Lumen 3",
        "radio": "Radio del porto R2",
        "classes": ("fotocamera", "radio portatile"),
        "shelved": "L'apparecchio è sullo scaffale, pronto per il ritiro.",
        "fault": "L'otturatore si blocca dopo la seconda foto.",
        "reason": "Il ricambio non si trova più.",
        "flag": "batteria gonfia",
        "caution": "Tenga l'apparecchio lontano da tutto ciò che può bruciare.",
        "promise": "giovedì 26 novembre entro le 11:30",
        "old_promise": "mercoledì 25 novembre entro le 17:00",
        "why": {
            "promise_changed": "il ricambio è in ritardo dal fornitore",
            "promise_threatened_shop": "il ricambio arriva troppo tardi",
            "called_back": "all'ultimo controllo il guasto si è ripresentato",
            "pickup_moved": "quella sera chiudiamo prima",
            "pickup_cancelled": "lo ha chiesto lei",
            "call_needed": "non è stato possibile consegnare l'SMS",
        },
        "phases": {
            "checked_in": "L'apparecchio è da noi; nessuno lo ha ancora guardato.",
            "part_arrived_shop": "L'apparecchio aspetta il banco di lavoro.",
            "part_late_shop": "L'apparecchio aspetta il banco di lavoro.",
            "promise_threatened_shop": "L'apparecchio aspetta il banco di lavoro.",
            "called_back": "L'apparecchio aspetta il banco di lavoro.",
            "handed_back": "L'apparecchio è di nuovo da lei.",
            "all_well": "L'apparecchio è di nuovo da lei.",
        },
        "wording": "L'otturatore si trova solo color argento, non nero. Montiamo quello argento?",
        "options": ("Sì, montate quello argento", "No, aspettate quello nero", "No, riconsegnatelo così com'è"),
        "until": "venerdì 27 novembre, ore 18:00",
        "by": "dalla pagina di ritiro",
        "part": "otturatore, argento",
        "due": "giovedì 26 novembre",
        "day": "giovedì 26 novembre",
        "place": "Scala del traghetto 4, Quillhaven",
        "waits_on": "aspetta il banco di lavoro",
    },
}


def rich(notice: str, language: str) -> dict[str, Any]:
    """A full context for `notice`; `ready`, `handed_back` and the reminders are about two devices."""
    w = _WORDS[language]
    several = notice in SEVERAL
    phase = w["phases"].get(notice, w["shelved"])
    devices = [_device(w, "camera", phase=phase), _device(w, "radio", phase=phase)]
    return {
        **_flat(w, language),
        "why": w["why"].get(notice, ""),
        "devices": devices if several else devices[:1],
        "shop": {
            "name": "Tramstop Bench",
            "phone": "+44 7700 900321",
            "email": "bench@example.org",
            "address": w["place"],
            "hours": w["hours"],
            "url": "https://bench.example.org",
        },
        "person": {"name": "Pat Quill"},
        "safety": [w["flag"]] if notice in ("ready", "handed_back", "part_arrived_shop") else [],
        "caution_lines": [w["caution"]] if notice in ("ready", "handed_back") else [],
        "question": {
            "kind": "substitute_part",
            "wording": w["wording"],
            "price": "£45.00" if language == "en" else "45,00 €",
            "options": [{"code": f"option_{n}", "label": label} for n, label in enumerate(w["options"])],
            "until": w["until"],
        },
        "answer": {"code": "take_it", "label": w["options"][0], "by": w["by"]},
        "hanging": [{"number": "K7M-2X9T", "promise": w["promise"]}] if notice == "part_late_shop" else [],
        "part": {"name": w["part"], "supplier": "Breakwater Parts", "due": w["due"], "label": "D41"},
        "slot": {"day": w["day"], "time": "17:00", "end": "17:15", "place": w["place"]} if notice != "ready" else None,
        "waits_on": w["waits_on"] if notice in SHOP else "",
        "entry_stays": notice in ("pickup_moved", "pickup_cancelled"),
        "stop_link": STOP_LINK if notice == "all_well" else "",
        "reply": {"text": w["wording"], "what": w["fault"]},
        "request": {"first": f"K7M-2X9T: {w['fault']}", "more": w["caution"]},
        "collector": "Mia Oland" if notice == "handed_back" else "",
        "by_pass": "yes" if notice == "handed_back" else "",
    }


def bare(notice: str, language: str) -> dict[str, Any]:
    """The same notice with every optional thing empty: no link, no phone, no name, no price, no promise."""
    full = rich(notice, language)
    empty: dict[str, Any] = {key: _emptied(value) for key, value in full.items()}
    shop = {**dict.fromkeys(full["shop"], ""), "name": full["shop"]["name"]}
    devices = [{**dict.fromkeys(full["devices"][0], ""), "number": full["number"], "device": full["device"]}]
    kept = {key: full[key] for key in ESSENTIAL.get(notice, ())}
    keys = ("language", "number", "device")
    said = {key: full[key] for key in keys}
    return {**empty, **said, "shop": shop, "devices": devices, "question": None, **kept}


def _emptied(value: Any) -> Any:
    if isinstance(value, dict):
        return dict.fromkeys(value, "")
    return [] if isinstance(value, list) else 0 if isinstance(value, int) else ""


def _flat(w: dict[str, Any], language: str) -> dict[str, Any]:
    return {
        "language": language,
        "claim_link": LINK,
        "privacy_link": "https://bench.example.org/privacy",
        "number": "K7M-2X9T",
        "device": w["camera"],
        "fault": w["fault"],
        "price": "£45.00" if language == "en" else "45,00 €",
        "outcome": "repaired",
        "reason": "",
        "promise": w["promise"],
        "old_promise": w["old_promise"],
        "expected": w["promise"],
        "hardly": "",
        "bench": "Kim",
        "sentence": "Hello, this is Tramstop Bench. Your Lumen 3 camera is ready to collect.",
        "phone": "+44 7700 900123",
        "days_waiting": 9,
        "waits_on": w["waits_on"],
        "code": "1234 5678",
    }


def _device(w: dict[str, Any], kind: str, *, phase: str) -> dict[str, str]:
    first = kind == "camera"
    return {
        "number": "K7M-2X9T" if first else "P4R-8D3H",
        "device": w[kind],
        "device_class_words": w["classes"][0 if first else 1],
        "phase_sentence": phase,
        "shelf": "B2" if first else "B3",
    }
