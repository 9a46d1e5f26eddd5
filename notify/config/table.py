"""Every setting of an installation in one table: key, kind, default, help. Longer than other rooms for that reason."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from notify.config import gateway_kinds as g
from notify.config import kinds as k
from notify.config.backup_rules import RECIPIENT
from notify.core.tickets import Phase

NO_DEFAULT = object()
WATCH = "watch.*."  # a source has a name of its own in the place of the star

# Our words for what a source may tell.
COLUMNS = (
    "reference",
    "phase",
    "changed_at",
    "device",
    "device_class",
    "fault",
    "name",
    "phone",
    "email",
    "language",
    "price",
    "kind",
    "version",
    "part",
    "part_state",
    "supplier",
    "article",
    "order",
    "slip",
    "due",
    "quantity",
)
# What each line of a source needs, by what the source is about (core/sources.ABOUT).
NEEDED_COLUMNS = {"tickets": ("reference", "phase"), "deliveries": ()}
PART_WORDS = ("needed", "ordered", "arrived", "dead", "wrong", "sent_back", "not_needed")
# On the shelf is said with its outcome, because another system's word for "done" does not tell it.
PHASE_WORDS = (*(phase.value for phase in Phase if phase is not Phase.ON_SHELF), "repaired", "unrepaired")

_COLUMNS = k.words(
    COLUMNS.__contains__,
    "Write a table of our words and its names of columns or fields; ours are " + ", ".join(COLUMNS) + ".",
    of_keys=True,
)
_PHASES = k.words(
    PHASE_WORDS.__contains__,
    "Write a table of the file's words and ours; ours are " + ", ".join(PHASE_WORDS) + ".",
    of_keys=False,
)
_PARTS = k.words(
    PART_WORDS.__contains__,
    "Write a table of its words and ours; ours are " + ", ".join(PART_WORDS) + ".",
    of_keys=False,
)


@dataclass(frozen=True, slots=True)
class Setting:
    """One line of the configuration; `default` is written as in TOML, NO_DEFAULT means it must be given."""

    key: str
    kind: k.Kind
    default: Any
    help: str


SETTINGS: tuple[Setting, ...] = (
    Setting("database.data_folder", k.NEEDED_PATH, "data", "folder of everything that must be backed up"),
    Setting("database.url", k.DATABASE, "", "main database; empty: the file shelfbell.db in the data folder"),
    Setting(
        "database.keys_url",
        k.DATABASE,
        "",
        "people's wrapped keys; empty: keys.db in the data folder. Back it "
        "up apart from the rest and only for days, since a key in an old backup undoes forgetting",
    ),
    Setting(
        "keys.master_key_file",
        k.NEEDED_PATH,
        "keys/master.key",
        "key that wraps people's keys; never in the "
        "data folder, and kept in a safe place as well: without it everything sealed is lost",
    ),
    Setting("keys.index_key_file", k.NEEDED_PATH, "keys/index.key", "key for finding a person by phone or e-mail"),
    Setting("web.bind", k.BIND, "127.0.0.1", "address that the pages listen on"),
    Setting("web.port", k.PORT, 8600, "port that the pages listen on"),
    Setting("web.public_url", k.PUBLIC_URL, "", "address that customers reach; empty: none, and no link is printed"),
    Setting("web.trusted_proxies", k.number(0, 5), 0, "how many proxies stand in front; exactly, or addresses lie"),
    Setting("web.behind_tls", k.FLAG, False, "whether the proxy in front speaks https"),
    Setting("web.plain_lan", k.FLAG, False, "allow http without TLS inside the shop's own network"),
    Setting("web.secret_file", k.NEEDED_PATH, "keys/web.key", "key that signs forms"),
    Setting("web.debug", k.FLAG, False, "show faults in the browser; on this machine only"),
    Setting("mail.transport", k.choice("folder", "smtp"), "folder", "folder: keep e-mails as files; smtp: send them"),
    Setting("mail.folder", k.PATH, "", "Maildir for the folder transport; empty: mail in the data folder"),
    Setting("mail.host", k.HOST, "", "SMTP server"),
    Setting("mail.port", k.PORT, 587, "its port; 587 for starttls, 465 for tls"),
    Setting("mail.security", k.choice("starttls", "tls", "none"), "starttls", "none only to this machine itself"),
    Setting("mail.username", k.TEXT, "", "name at the SMTP server; empty: do not sign in"),
    Setting("mail.password_file", k.PATH, "", "file with the password on one line, readable by its owner only"),
    Setting("mail.ca_file", k.PATH, "", "certificates to trust instead of the system's"),
    Setting("mail.timeout_seconds", k.number(5, 600), 30, "how long to wait for the server to answer"),
    Setting("mail.connections", k.number(1, 16), 4, "how many connections at once, where the server is slow"),
    Setting("mail.sender_name", k.TEXT, "", "name that customers see; empty: the shop's name"),
    Setting(
        "mail.sender_address",
        k.ADDRESS,
        "counter@shelfbell.invalid",
        "address that e-mails come from; one of your own before anything is sent",
    ),
    Setting("mail.reply_to", k.ADDRESS, "", "address for replies; empty: the sender"),
    Setting(
        "mail.bounce_address",
        k.BOUNCE,
        "",
        "envelope address with {token}, to which reports of failed delivery come; empty: the sender",
    ),
    Setting(
        "sms.transport",
        k.choice("off", "mailgate", "http", "modem"),
        "off",
        "mailgate: through an e-mail-to-SMS gateway; http: through a gateway on the web; modem: by a SIM of your own",
    ),
    Setting("sms.template", k.SMS_TEMPLATE, "", "the e-mail gateway's address with {digits} for the number"),
    Setting("sms.sender", k.ADDRESS, "", "address the e-mail gateway knows you by; empty: mail.sender_address"),
    Setting("sms.http.method", k.choice("POST", "PUT"), "POST", "how a text message is handed to the gateway"),
    Setting("sms.http.address", g.ADDRESS, "", "where it is handed over; https, and this address only"),
    Setting("sms.http.form", k.choice("json", "form"), "json", "how the body is written"),
    Setting("sms.http.body", g.BODY, "", "its fields as a JSON object with {to} or {digits}, {text}, {id}, {callback}"),
    Setting("sms.http.headers", g.HEADERS, {}, "headers besides the usual ones; {id} may stand in a value"),
    Setting("sms.http.sign_in", k.choice("none", "header", "basic"), "none", "how the gateway knows you"),
    Setting("sms.http.sign_in_header", g.HEADER, "Authorization", "header that carries the line of secret_file"),
    Setting("sms.http.sign_in_name", k.TEXT, "", "name at the gateway, with basic"),
    Setting("sms.http.secret_file", k.PATH, "", "file with that header's value, or the password, on one line"),
    Setting("sms.http.ca_file", k.PATH, "", "certificates to trust instead of the system's"),
    Setting(
        "sms.http.this_machine", k.FLAG, False, "whether the gateway runs on this machine; no other is called then"
    ),
    Setting("sms.http.timeout_seconds", k.number(2, 120), 20, "how long to wait for the whole answer"),
    Setting("sms.http.answer_kilobytes", k.number(1, 1024), 64, "largest answer that is read"),
    Setting("sms.http.good_statuses", g.STATUSES, [200, 201, 202], "HTTP statuses that mean taken"),
    Setting("sms.http.good_field", g.FIELD, "", "field of the answer that must say good_value as well"),
    Setting("sms.http.good_value", k.TEXT, "", "what it must say"),
    Setting("sms.http.id_field", g.FIELD, "", "field with the gateway's own name for the message"),
    Setting("sms.http.code_field", g.FIELD, "", "field with its word for a refusal"),
    Setting("sms.http.answers", g.ANSWERS, {}, "its words or HTTP statuses of refusals: later, never or bad_number"),
    Setting("sms.http.states", g.STATES, {}, "its words for what became of a message, and ours"),
    Setting(
        "sms.hook.proof",
        k.choice("off", "header", "basic", "hmac"),
        "off",
        "how the gateway proves that a receipt or an answer comes from it; off: none is taken",
    ),
    Setting("sms.hook.header", g.HEADER, "", "header with the secret, or with the signature"),
    Setting("sms.hook.name", k.TEXT, "", "name that it signs in with, with basic"),
    Setting("sms.hook.secret_file", k.PATH, "", "file with the secret on one line"),
    Setting("sms.hook.algorithm", k.choice("sha256", "sha384", "sha512"), "sha256", "hash of the signature"),
    Setting("sms.hook.encoding", k.choice("hex", "base64"), "hex", "how the signature is written"),
    Setting("sms.hook.prefix", k.TEXT, "", "what stands before the signature"),
    Setting("sms.hook.form", k.choice("json", "form"), "json", "how the body is written"),
    Setting("sms.hook.zone", k.ZONE, "UTC", "time zone of times without one"),
    Setting("sms.hook.receipt", g.RECEIPT, {}, "our words and its fields, for receipts"),
    Setting("sms.hook.inbound", g.INBOUND, {}, "our words and its fields, for answers of customers"),
    Setting("sms.modem.device", k.TEXT, "", "the modem's port, such as /dev/ttyUSB0"),
    Setting("sms.modem.connection", k.TEXT, "at", "how it is spoken to, as its library names it"),
    Setting(
        "invite.organizer", k.MAILBOX, "", "mailbox for calendar answers, with {token}; empty: where other answers go"
    ),
    Setting("inbox.transport", k.choice("off", "imap", "maildir"), "off", "where replies and delivery reports come to"),
    Setting("inbox.host", k.HOST, "", "IMAP server"),
    Setting("inbox.port", k.PORT, 993, "its port; 993 for tls, 143 for starttls"),
    Setting("inbox.security", k.choice("tls", "starttls", "none"), "tls", "none only to this machine itself"),
    Setting("inbox.username", k.TEXT, "", "name of the mailbox"),
    Setting("inbox.password_file", k.PATH, "", "file with its password on one line, readable by its owner only"),
    Setting("inbox.ca_file", k.PATH, "", "certificates to trust instead of the system's"),
    Setting("inbox.folder", k.TEXT, "INBOX", "folder of the mailbox; everything in it is read, and removed in time"),
    Setting("inbox.maildir", k.PATH, "", "Maildir of this machine, for the maildir transport"),
    Setting("inbox.keep_days", k.number(1, 365), 30, "days after which handled letters and strangers' words go"),
    Setting("inbox.check_seconds", k.number(10, 3600), 60, "how often new letters are looked for"),
    Setting("inbox.authserv_id", k.TEXT, "", "name under which your mail server says that a sender is proved"),
    Setting(
        "listeners.inner_hosts",
        k.HOSTS,
        [],
        "hosts of your own network, or of this machine, that may be told of events; others are reached by https only",
    ),
    Setting("listeners.timeout_seconds", k.number(5, 60), 15, "how long to wait for a listener to answer"),
    Setting("listeners.ca_file", k.PATH, "", "certificates to trust instead of the system's"),
    Setting("bell.wait_seconds", k.number(0, 3600), 90, "how long a notice waits for Undo before it leaves"),
    Setting("bell.quiet_from", k.TIME, "21:00", "from this shop time on nothing leaves"),
    Setting("bell.quiet_until", k.TIME, "08:00", "until this shop time; the same as quiet_from: never quiet"),
    Setting("limits.body_kilobytes", k.number(16, 10_240), 512, "largest request"),
    Setting("limits.form_parts", k.number(50, 2000), 300, "most fields of one form"),
    Setting("limits.claim_tries_an_hour", k.number(3, 100), 20, "wrong claim codes before one must wait"),
    Setting("limits.sign_in_tries_an_hour", k.number(3, 100), 20, "wrong sign-ins before one must wait"),
    Setting("limits.watched_file_kilobytes", k.number(1, 1_048_576), 65_536, "largest watched file"),
    Setting("limits.sms_parts", k.number(1, 10), 3, "most parts of one text message"),
    Setting("forget.nightly_at", k.TIME, "03:30", "shop time at which people whose time is over are forgotten"),
    Setting("backup.folder", k.PATH, "", "folder for backups, on another disk or machine; empty: none is made"),
    Setting(
        "backup.keys_folder",
        k.PATH,
        "",
        "folder for backups of people's keys, apart from the other: whoever has both may undo forgetting",
    ),
    Setting("backup.nightly_at", k.TIME, "02:30", "time of the first shop at which a backup is made each night"),
    Setting("backup.keep_days", k.number(1, 3650), 35, "days after which backups are removed"),
    Setting(
        "backup.keys_keep_days",
        k.number(1, 60),
        7,
        "days after which backups of keys are removed; so long may an old one open who was forgotten since",
    ),
    Setting("backup.key_file", k.PATH, "keys/backup.key", "key that opens backups; keep a copy of it elsewhere"),
    Setting(
        "backup.recipient",
        RECIPIENT,
        "",
        "public half of such a key (age1...), in the place of the file: it only locks",
    ),
    Setting("paper.day_sheet_folder", k.PATH, "", "folder for the day sheet on paper; empty: none is written"),
    Setting("paper.day_sheet_at", k.TIME, "19:00", "from this shop time until midnight the next sheet is written"),
    Setting("paper.keep_days", k.number(0, 30), 2, "days after which written day sheets are removed"),
    Setting("log.level", k.choice("debug", "info", "warning", "error"), "info", "how much is written down"),
    Setting("log.form", k.choice("text", "json"), "text", "text for people, json for programs"),
    Setting("log.file", k.PATH, "", "file for the log; empty: the standard error stream"),
    Setting(WATCH + "kind", k.choice("folder", "table", "webhook"), "folder", "how its changes come here"),
    Setting(WATCH + "about", k.choice("tickets", "deliveries"), "tickets", "whether it tells of repairs or of parts"),
    Setting(WATCH + "shop", k.TEXT, "", "which shop it belongs to, by its name; empty: the only one"),
    Setting(WATCH + "columns", _COLUMNS, NO_DEFAULT, "our words and the names of its columns or fields"),
    Setting(WATCH + "phase_words", _PHASES, {}, "its words for where a repair stands, and ours"),
    Setting(WATCH + "part_words", _PARTS, {}, "its words for where a part stands, and ours"),
    Setting(WATCH + "zone", k.ZONE, "UTC", "time zone of times without one"),
    Setting(WATCH + "quiet_minutes", k.number(0, 43_200), 0, "say so when nothing could be read for so long; 0: never"),
    Setting(WATCH + "folder", k.PATH, "", "folder in which another system leaves its files"),
    Setting(WATCH + "delimiter", k.DELIMITER, "auto", "sign between the columns of CSV files"),
    Setting(WATCH + "encoding", k.ENCODING, "auto", "text encoding of the files"),
    Setting(WATCH + "sheet", k.TEXT, "", "sheet of a workbook; empty: the first"),
    Setting(WATCH + "keep_days", k.number(0, 365), 14, "days after which taken files and refused lines are removed"),
    Setting(WATCH + "url", k.OTHER_DATABASE, "", "the database with the table"),
    Setting(WATCH + "password_file", k.PATH, "", "file with the password of that database on one line"),
    Setting(WATCH + "query", k.TEXT, "", "the SELECT that gives one line for each repair"),
    Setting(WATCH + "changed", k.TEXT, "", "its column that rises with every change; empty: lines are compared"),
    Setting(WATCH + "every_seconds", k.number(2, 86_400), 10, "how often to look"),
    Setting(
        WATCH + "look_back_seconds", k.number(60, 86_400), 300, "how long a change there may take until it is seen"
    ),
    Setting(WATCH + "wait_seconds", k.number(1, 600), 20, "how long one page of that database may take"),
    Setting(WATCH + "secret_file", k.PATH, "", "file with the key that signs its calls"),
    Setting(WATCH + "old_secret_file", k.PATH, "", "file with the key before it, while both are in use"),
    Setting(WATCH + "form", k.choice("cloudevents", "json"), "cloudevents", "how the bodies of its calls are written"),
)

# What people write although it must not stand in a settings file, and where it belongs.
FORBIDDEN: dict[str, str] = {
    "mail.password": "Put it on one line into a file that only you can read, and name it in mail.password_file.",
    "sms.http.secret": "Put it on one line into a file that only you can read, and name it in sms.http.secret_file.",
    "sms.http.password": "Put it on one line into a file that only you can read, and name it in sms.http.secret_file.",
    "sms.hook.secret": "Put it on one line into a file that only you can read, and name it in sms.hook.secret_file.",
    "inbox.password": "Put it on one line into a file that only you can read, and name it in inbox.password_file.",
    "web.secret": "Name a file in web.secret_file; `shelfbell init` makes it.",
    "web.secret_key": "Name a file in web.secret_file; `shelfbell init` makes it.",
    "keys.master_key": "Name a file in keys.master_key_file; `shelfbell init` makes it.",
    "keys.index_key": "Name a file in keys.index_key_file; `shelfbell init` makes it.",
}
