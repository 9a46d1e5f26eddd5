"""Data, long because it is in nine languages: how people ask for an end of messages, a new start, or help.

Notation: words divided by spaces, `/` between alternatives, a `*` at the end of a word for any ending, `...` for up to
three words in between, none of which denies. Write small letters without accents, and ue beside u for an ü. The seven
words that 47 CFR 64.1200(a)(10) makes definitive are marked; all others are a reading of this project, from memory.
"""

from __future__ import annotations

# Alone they always mean the messages, and so they do as the first or last thing said in a longer text.
STRONG = (
    "stop/stopp/stopall/unsubscribe/optout",  # 47 CFR: stop, unsubscribe, opt out
    "opt out",
    "no/keine/niente messages/texts/sms/emails/mails/nachrichten/messaggi/mail/email",
    "stop all/messages/texts/texting/messaging/emails/mails/mailing/calling/calls/sms",
    "unsubscribe me/all",
    "abmelden/abmeldung/abbestellen/austragen",
    "melde mich ab",
    "ich melde mich ab",
    "desabonner/desabonnement/desinscription/desinscrire",
    "disiscrivi*/disiscrizione/cancellami/cancellatemi/toglietemi",
    "uitschrijven/afmelden",
    "отписка/отписаться/отпишите",
)
# Alone they mean the messages too, but within a text they may mean anything: then a person reads it.
WEAK = (
    "quit/end/revoke/cancel",  # 47 CFR: quit, end, revoke, cancel
    "halt/ende/schluss/aufhoren/aufhoeren/beenden",
    "arret/arreter/arretez",
    "alto/baja/parar/pare/basta/cancelar/sair",
    "ferma/fermare/fermate/fermatevi/smettila/smettetela",
    "стоп/хватит/стой",
    "stoppen",
    "das reicht/langt",
)
START = (
    "start/unstop/restart/resume/subscribe/resubscribe",
    "opt in/back",
    "opt back in",
    "opt me/us in/back",
    "subscribe/resubscribe me",
    "undo stop",
    "start/resume texting/messaging/messages/texts/emails/sms",
    "start/resume texting/messaging/writing me/us",
    "start/resume sending me/us messages/texts/emails",
    "can/may text/message/write me/us",  # "you" is a courtesy here: thank you
    "text/message me/us",
    "anmelden/fortsetzen/weitermachen/starten/abonnieren",
    "nachrichten fortsetzen/an/einschalten",
    "sie konnen/konnt/kannst/duerfen/durfen/darfst mir schreiben",
    "schreiben sie mir",
    "schreibt mir",
    "inizia/riprendi/riprendere/riprendete/iscrivimi/iscrivetemi/ricomincia",
    "scrivetemi/scrivimi",
    "scrivetemi/scrivimi di nuovo",
    "scrivetemi/scrivimi ancora",
    "mi scriva/scrivete di nuovo",
    "ricominciate/riprendete/ricominci/riprenda a scrivermi",
    "potete/puoi/puo scrivermi di nuovo",
    "potete/puoi/puo scrivermi",
    "commencer/reprendre/demarrer/abonner",
    "empezar/reanudar/iniciar/alta",
    "comecar/retomar",
    "старт/начать/возобновить/подписаться",
    "beginnen/hervatten/aanmelden",
    "开始/订阅",
)
HELP = (
    "help/info/information/commands",
    "help me",
    "hilfe/informationen",
    "aiuto/informazioni",
    "aide",
    "ayuda/informacion",
    "ajuda/informacao",
    "помощь/справка/инфо",
    "hulp/informatie",
    "帮助/信息",
)
# Said anywhere, a reasonable person reads them as a wish for no more messages (47 CFR 64.1200(a)(10)).
_SENT = (
    "text/texts/messages/message/messaging/sms/mail/mails/mailings/email/emails/notifications/reminders/updates/alerts"
)
_SENT_IT = "messagg*/sms/mail/email/notific*/avvis*/promemoria"
STOP_PHRASES = (
    "stop/quit/cease ... texting/messaging/emailing/mailing/calling/contacting/spamming/bothering/bugging/harassing",
    "stop/quit/cease/end/cancel ... these/the/your/all/any/more/sending/getting/receiving ... "
    "texts/text/messages/message/sms/mails/emails/mailings/notifications/reminders/calls",
    f"stop/quit/cease sending ... me/us/{_SENT}",
    "stop/quit/cease sending these/those/them/this/that",
    "stop/quit/cease writing ... me/us",
    "stop/end/cancel these/those",
    "stop/cancel my/the subscription",
    "turn/switch off ... texts/messages/sms/emails/notifications/reminders/alerts",
    "turn/switch ... texts/messages/sms/emails/notifications/reminders/alerts off",
    "dont text/texting/message/email/contact/spam/call/mail me/us/this",
    "dont write ... me/us",
    "dont send ... me/us ... anything/messages/texts/emails/text/message/sms/these/this",
    "dont send ... any/more ... anything/messages/texts/emails/sms",
    "never text/message/email/contact/call/write/mail ... me/us ... again",
    "dont want/need ... these/your/any/more/get/receive/receiving/getting/have ... "
    "texts/text/messages/sms/mails/emails/notifications/reminders/calls",
    "dont want texts/messages/sms/mails/emails/notifications/reminders/calls",
    "dont want you to text/message/email/contact/call/write/mail",
    "dont want to hear from/of you/this",
    "dont want to be contacted/texted/messaged/emailed",
    "no more/further texts/text/messages/message/messaging/sms/mails/emails/notifications/reminders/updates/calls",
    "no further contact",
    "cease ... communication/communications/contact/messages",
    "enough with/of ... texts/messages/sms/mails/emails/reminders",
    "take/remove/get/delete/strike ... me/us/number/address/email/name off/from ... list/lists/database/system/records",
    "take/remove/delete ... my number/phone/mobile/email/address",
    "remove/unsubscribe me/us",
    "unsubscribe from",
    "take me off",
    "lose my number",
    "leave me/us alone",
    "opt/opting me/us out",
    "want/wish/like to opt out",
    "want/wish/like to unsubscribe",
    "please unsubscribe",
    "how ... unsubscribe",
    "withdraw/revoke ... my/our consent/permission",
    # German
    "keine/keinerlei ... nachricht*/sms/mail*/email*/erinnerung*/benachrichtigung*/anruf* ... mehr",
    "keine weiteren/weitere ... nachricht*/sms/mail*/email*/erinnerung*/benachrichtigung*/anruf*",
    "nicht/nie/nix mehr ... schreiben/anschreiben/schreib/kontaktieren/simsen/texten/anrufen/benachrichtigen/anmailen",
    "schreib/schreibt/schreiben/kontaktieren/kontaktiert/ruft/rufen ... mir/mich/uns ... nicht/nie/nichts mehr/wieder",
    "schreib/schreibt/schreiben ... mir/uns nicht mehr",
    "schicken/schickt/schick/senden/sendet/sende ... mir/uns nichts/keine/kein mehr/nachricht*/sms/mails/mail/weiteren",
    "schicken/schickt/schick/senden/sendet/sende ... nichts/keine/kein ... mehr",
    "mochte/moechte/will/wunsche/wuensche/brauche ... keine ... nachricht*/sms/mail*/benachrichtigung*/erinnerung*",
    "hor*/hoer* ... auf ... zu/mir/mich/uns schreiben/schicken/simsen/nerven/anzurufen/mit/zu",
    "hor*/hoer* ... auf mit/damit ... nachricht*/sms/mails/schreiberei/werbung",
    "lass/lasst/lassen ... mich/uns ... in ruhe/frieden",
    "aus/von ... verteiler/liste/datenbank/kartei ... nehmen/streichen/austragen/loschen/loeschen/entfernen",
    "nehmen/nehmt/nimm/streichen/streicht/entfernen/loschen/loescht/loeschen ... mich ... verteiler/liste/kartei",
    "melden sie mich/uns ... ab",
    "meldet mich/uns ... ab",
    "mich/uns ... abmelden/austragen",
    "nachrichten/sms/mails/benachrichtigungen ... abbestellen/abstellen/abschalten/einstellen/ausschalten/stoppen",
    "loschen/loescht/loeschen/loscht ... meine/diese nummer/telefonnummer/handynummer/adresse/mailadresse",
    "meine/diese nummer/telefonnummer/handynummer/mailadresse/adresse ... loschen/loeschen/streichen/entfernen",
    "widerrufe ... einwilligung/zustimmung",
    "einwilligung/zustimmung ... widerrufen/zuruckziehen/zurueckziehen",
    # Italian
    "non scrivermi/scrivetemi/scrivete/contattarmi/contattatemi/contattate",
    "non chiamarmi/chiamatemi/chiamate/mandarmi/mandatemi/mandate/inviarmi/inviatemi/inviate piu/mai",
    f"non mandarmi/mandatemi/mandate/inviarmi/inviatemi/inviate ... {_SENT_IT}/nulla/niente",
    f"non voglio/vorrei/desidero/intendo/gradisco/ricevere ... {_SENT_IT}",
    "non voglio/vorrei/desidero che mi scriv*/contatt*/mand*/invi*/chiam*",
    "non voglio/vorrei/desidero ... essere contatt*/disturbat*",
    f"non mi serv*/interess*/occorr* ... {_SENT_IT}",
    "non mi/ci scriv*/contatt*/mand*/invi*/chiam* ... piu",
    f"fermate/fermi/sospendete/sospenda/bloccate/blocchi/interrompete/interrompa ... {_SENT_IT}",
    "basta ... messagg*/sms/mail/email/notific*/avvis*",
    "niente/nessun piu/altro/altri messagg*/sms/mail/email/notific*/avvis*",
    "smett*/smetti ... di ... scrivermi/mandarmi/inviarmi/contattarmi/chiamarmi/scrivere/messaggiare",
    "lasciatemi/lasciami/lasciateci ... in pace/stare",
    "togl*/tolg*/cancell*/rimuov*/elimin* ... mi/me/mio ... lista/elenco/numero/indirizzo/rubrica",
    "togl*/tolg*/cancell*/rimuov*/elimin* ... dalla/dalle ... lista/liste/rubrica",
    "togl*/cancell*/rimuov*/elimin* ... numero/indirizzo ... lista/elenco/rubrica",
    "revoco ... consenso",
    "voglio/vorrei/desidero disiscriver*/cancellarmi/disdire ... messaggi/iscrizione/notifiche/lista",
    "voglio/vorrei/desidero/come disiscriver*/cancellarmi",
    # French, Spanish, Portuguese, Russian, Chinese, Dutch
    "plus de messages/sms/mails/courriels/textos/notifications",
    "ne m ecrivez/contactez/envoyez/appelez ... plus",
    "arretez de m/me ecrire/envoyer/contacter",
    "arretez ... messages/sms/mails/textos",
    "laissez moi tranquille",
    "retirez/enlevez/supprimez ... moi/numero/liste",
    "no ... mas mensajes/sms/correos/textos/avisos",
    "no me escriba*/escriban/contacte*/manden/mande/envie*/llame* ... mas",
    "no quiero ... mensajes/sms/correos/avisos",
    "deje*/dejen de escribirme/mandarme/enviarme/contactarme",
    "darme/dar/dame/denme ... de baja",
    "nao ... mais mensagens/sms/mails/emails/avisos",
    "nao quero ... mensagens/sms/emails/avisos",
    "pare/parem de me escrever/mandar/enviar/contactar",
    "не/больше пишите/пиши/присылайте/шлите/звоните ... мне/больше",
    "не пишите/пиши/присылайте/шлите/звоните",
    "больше не пишите/пиши/присылайте/шлите/звоните/надо",
    "отпишите/отписать меня",
    "уберите/удалите ... номер",
    "geen ... berichten/sms/mails/appjes ... meer",
    "stuur/stuurt ... geen ... berichten/sms/mails",
    "laat me/mij/ons met rust",
    "schrijf me/mij uit",
)
# Chinese has no spaces between words: said anywhere in the text.
STOP_PARTS = ("退订", "取消订阅", "不要再发", "别再发", "停止发送", "不要再联系", "停止短信")
STOP_WHOLE_PARTS = ("停止", "停", "取消", "td")
# The number or address is somebody else's (policy of vector o-30).
WRONG_NUMBER = (
    "wrong number/person/phone/address/recipient/guy/man/woman/email",
    "not ... the right/correct number/person",
    "i dont know you/who/any/anyone/anybody ... you/this/shop/are",
    "never been to/in your shop",
    "new owner of this number",
    "falsche/falscher/falschen nummer/nr/person/adresse/empfanger/empfaenger/handynummer/telefonnummer",
    "sie haben sich ... verwahlt/verwaehlt/vertan/geirrt",
    "verwahlt/verwaehlt",
    "nicht ... der/die richtige/richtiger nummer/person/empfanger",
    "kenne sie/euch/ihren/ihr ... nicht",
    "numero sbagliato/errato",
    "sbagliato ... numero/persona",
    "ha/avete/hai sbagliato",
    "non sono io",
    "non vi/la conosco",
    "persona sbagliata",
    "questo numero non e/appartiene ... di/del/della/a/piu",
    "mauvais/faux numero",
    "numero equivocado",
    "numero errado",
    "не тот номер",
    "ошиблись номером",
    "verkeerd nummer",
    "打错了/号码错了",
)
# GDPR art. 17: a request with a date, whatever it is called.
ERASURE = (
    "delete/erase/remove ... my/our ... data/information/details/records/account/profile",
    "delete/erase/remove ... data/information/everything/anything ... about/on/of me/us",
    "forget everything about me/us",
    "please forget me",
    "right to erasure",
    "right to be forgotten",
    "gdpr erasure/deletion/request",
    "loschen/loescht/loeschen/loscht/losch ... meine/unsere ... daten/angaben/kontaktdaten/informationen",
    "meine/unsere ... daten/angaben/kontaktdaten ... loschen/loeschen/geloscht/geloescht/entfernen/vergessen",
    "recht auf loschung/loeschung/vergessenwerden",
    "dsgvo loschung/loeschung/antrag",
    "cancell*/elimin*/rimuov* ... miei/nostri ... dati",
    "cancell*/elimin*/rimuov* ... dati personali",
    "dati ... cancellati/eliminati/rimossi",
    "diritto all oblio/cancellazione",
    "supprimez/effacez/supprimer/effacer mes donnees",
    "borren/borre/borrar/eliminen/elimine/eliminar mis datos",
    "apague/apaguem/apagar/eliminar/excluir/exclua ... meus dados",
    "удалите ... мои/моих данные/данных",
    "verwijder ... mijn gegevens",
)
# Both a stop and, perhaps, an erasure (vector o-27): filed as the stronger of the two.
ERASURE_TOO = (
    "remove/delete/erase ... my ... number/phone/address/email",
    "loschen/loescht/loeschen/loscht ... meine ... nummer/telefonnummer/handynummer/adresse/mailadresse",
    "meine ... nummer/telefonnummer/handynummer/adresse/mailadresse ... loschen/loeschen",
    "cancell*/elimin*/rimuov* ... mio numero/indirizzo",
)
# What a device holds: deleting that is work on the device, not a right under data protection.
DEVICE_DATA = frozenset(
    "device phone camera reader radio console card reset drive disk memory storage usb gerat geraet kamera karte "
    "speicher "
    "zurucksetzen zuruecksetzen festplatte konsole dispositivo apparecchio fotocamera scheda memoria lettore".split()
)
# To stop, cancel or end one of these is about the job: a person must look (vectors o-33 to o-35).
JOB_VERBS = (
    "stop cancel cancelling cancelled halt abort abbrechen abbruch stornieren storniert storno stoppen stopp stoppt "
    "absagen abgesagt absage kundigen kuendigen aufhoren aufhoeren annulla annullare annullate annullo disdire disdico "
    "disdetta disdite ferma fermate fermare interrompete interrompere annulli fermi interrompa sospenda disdica "
    "annuler annulez cancelar cancele cancelen anular "
    "отмените отменить annuleren afzeggen abbestellen einstellen sospendete sospendere stoppate blocca bloccate"
).split()
WORK_NOUNS = (
    "repair repairs repairing repaired unrepaired work job order part parts appointment booking slot pickup pick "
    "collection visit fix fixing reparatur auftrag arbeit arbeiten bestellung teil teile termin abholung "
    "abholtermin buchung repariert unrepariert riparazione riparare lavoro lavori ordine pezzo pezzi "
    "ricambio ricambi preventivo "
    "appuntamento ritiro prenotazione reparation rendez commande reparacion cita pedido reparo conserto ремонт "
    "заказ reparatie afspraak bestelling"
).split()
DEVICE_NOUNS = frozenset(
    "radio camera reader console handheld kamera gerat geraet konsole fotocamera dispositivo "
    "apparecchio lettore".split()
)

# Alone, and about the job or a booking far more often than about messages.
JOB_ALONE = (
    "stornieren/storno/storniert/absagen/abbrechen/abbruch/kundigen/kuendigen",
    "annulla/annullare/annullate/disdire/disdico/disdetta",
    "annuler/anular/annuleren/отмена",
    "cancel/end it/this/that/everything/all",
)
# What comes before a wish turns it around; between its words it breaks it.
DENIALS = frozenset(
    "dont not never no nicht nie niemals kein keine non mai ne pas nao nunca не niet geen wont cant doesnt didnt "
    "isnt".split()
)
# Words that change nothing about a wish.
FILLERS = frozenset(
    "please pls plz thanks thank you thx ty ok okay hi hello hey dear now just immediately again sir madam team "
    "all the "
    "kind best regards wishes cheers sincerely yours mfg lg vg grusse gruesse gruss viele liebe freundlichen "
    "freundliche mit "
    "saluti cordiali distinti "
    "bitte danke hallo guten tag morgen sofort jetzt wieder mal servus moin "
    "grazie prego ciao salve buongiorno subito ora adesso favore per "
    "merci svp bonjour gracias hola por favor obrigado obrigada ola пожалуйста спасибо aub alsjeblieft bedankt 请 "
    "谢谢".split()
)
STOP_FILLERS = frozenset("it this that them these those das es damit questo".split())
# Verbs that stand after their noun, as in German; English ones there mean something else ("does the radio stop?").
LATE_VERBS = frozenset(
    "abbrechen stornieren storniert absagen abgesagt kuendigen kundigen stoppen beenden annullieren".split()
)
# Said anywhere, a person must look: a complaint about messages, or somebody who turns an offer down.
COMPLAINTS = (
    "keep/kept texting/messaging/emailing/calling/sending/bothering me/us",
    "too many texts/messages/emails/mails/reminders",
    "not/no interested/interest",
    "zu viele nachrichten/sms/mails/erinnerungen",
    "kein interesse",
    "standig/dauernd/staendig nachrichten/sms/mails",
    "troppi messaggi/sms",
    "non ... interessa/interessato/interessata",
)
# Who names a way or a time that is welcome does not mean every message: a person sees to it.
WELCOME = (
    "text/texts/sms/email/emails/mail/message/messages only/instead",
    "only/just/rather/nur/lieber/solo/soltanto text/texts/sms/email/emails/mail/per/by/via",
    "by/per/via/tramite text/sms/email/mail",
    "please/bitte email/mail/text/message/sms me/us/mir/an",
)
WELCOME_AFTER = frozenset(
    "after before until between during when if while unless the nach vor bis wenn dopo prima".split()
)
# These in a short text are worth a look.
DOUBTFUL = frozenset(
    "stop stopp stoppen aufhoren aufhoeren smettere fermare cancel unsubscribe revoke optout abmelden "
    "abbestellen kundigen kuendigen disiscrivere disdire annullare "
    "stornieren".split()
)
SECOND_THOUGHTS = frozenset("wait mind open change changed moment warte warten moment doch aspetta aspettate".split())
# Said of a device, or of a way: these words in the same sentence take a stop phrase out of doubt.
ABOUT_DEVICE = frozenset(
    "screen display error errors appear appears appearing shows showing fehlermeldung fehlermeldungen bildschirm "
    "anzeige "
    "schermo errore errori appare".split()
)
RECEIVED = frozenset("got received bekommen erhalten gekriegt ricevuto ricevuti recu recibido".split())
WISHING = frozenset("mochte moechte will wunsche wuensche wollen want like wish".split())
# Asked why, the same words are about messages that do not come: a person reads it.
ASKING_WHY = frozenset("why warum wieso weshalb perche pourquoi".split())
BEFORE_STOP = frozenset("bus tram train full non ill will".split())
AFTER_STOP = frozenset("by in over at off for near working".split())  # "I'll stop by": a visit
SIGNATURES = (
    "sent from my", "sent from outlook", "sent via", "get outlook", "von meinem", "gesendet von", "gesendet mit",
    "inviato da",
    "inviato dal", "envoye de", "enviado desde", "enviado do", "отправлено с", "verzonden vanaf",
)  # fmt: skip
QUESTION_WORDS = frozenset(
    "when what where why how who which can could may is are do does will would did have has "
    "wann was wo warum wie wer welche kann konnen konnte darf ist sind habt haben gibt "
    "quando cosa dove perche come chi quale quanto posso potete e c".split()
)
