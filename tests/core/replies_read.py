"""Sentences that customers of a repair counter write back, and how this project reads them.

Not from a standard: each is a reading of this project, in the spirit of 47 CFR 64.1200(a)(10) ("other wording counts
if a reasonable person would read it as a wish to stop"). The published cases are in tests/vectors/messaging.json.
"""

from __future__ import annotations

STOP = """
Please stop sending me text messages
I'd like to unsubscribe from these messages
Stop messaging me, I have picked it up already
Thanks, got the radio. Stop.
ok thanks, stop
Stop it
S T O P
STOPPP
Hello, please do not text me any more
Do not contact me again
I don't want any more emails from you
Remove me from your mailing list please
Please take my number off your system
Stop the messages about my repair, I'll ring you instead
How do I unsubscribe?
I withdraw my consent
Quit it
I no longer want to get these. Unsubscribe me.
no texts please
unsubcribe
Never text me again
Please cease all communication
Switch off the reminders please
Bitte keine Nachrichten mehr
Bitte schicken Sie mir keine SMS mehr
Hören Sie auf, mir zu schreiben
Hört auf mich anzurufen
Bitte nicht mehr schreiben
Schreiben Sie mir bitte nicht mehr
Ich möchte keine Nachrichten mehr erhalten
Ich möchte keine weiteren E-Mails
Lassen Sie mich in Ruhe!
Lasst mich bitte in Ruhe
Nehmen Sie mich aus dem Verteiler
Bitte melden Sie mich ab
Ich melde mich ab
Unsubscribe me but still repair it
Who is this?? Stop texting
Hiermit widerrufe ich meine Einwilligung
Stopp! Danke
Abmelden bitte
Guten Tag, bitte stoppen
Hör bitte auf, mir SMS zu schicken
Schluss
Das reicht
Keine SMS mehr bitte, rufen Sie an
Nichts mehr schicken bitte, STOPP
Non scrivetemi più
Per favore non mandatemi più messaggi
Non mi scrivete più
Basta messaggi, grazie
Basta
Non voglio più ricevere SMS
Non desidero ricevere messaggi
Smettetela di scrivermi
Lasciatemi in pace
Cancellatemi dalla lista
Voglio disiscrivermi
Revoco il consenso
Disiscrivimi
Niente messaggi per favore
Basta con questi messaggi
Per favore non mi scriva più
Non mi invii più messaggi
La prego di non scrivermi più
Smetta di mandarmi messaggi
Mi tolga dalla lista, per favore
Vorrei non ricevere più SMS
Non voglio che mi scriviate
Non mi interessano i vostri avvisi
Non mi serve più il promemoria
Fermate questi messaggi
Grazie, ritirato. Stop
""".strip().split("\n")
STOP += ["Stop\n\nKind regards\nPat Smith", "Cancel\n\nPat", "STOP\n> Reply STOP to end these messages.\n"]

# A person reads these: they are about the job or a time, or they are doubtful.
REVIEW = """
Please stop work on the radio, it is too dear
Stop! Don't open the camera, I changed my mind
I need to cancel the pickup
Cancel it
Cancel. I found a cheaper shop
Can I cancel my slot tomorrow?
cancel order please
Halt the repair until I call
Bitte die Reparatur stoppen
Reparatur abbrechen
Bitte stornieren
Ich muss den Termin leider absagen
Können Sie den Auftrag stornieren?
Das Ersatzteil bitte abbestellen, den Auftrag auch
Abholung morgen muss ich absagen
Annullare la riparazione per favore
Annulli il preventivo per favore
Perché non mi scrivete più?
Why no more texts?
Warum keine SMS mehr von Ihnen?
Vorrei disdire l'appuntamento
Disdico il ritiro di domani
Potete annullare l'ordine del pezzo?
Fermate la riparazione
stpo
Ich will keine SMS, bitte per E-Mail
Bitte keine Anrufe mehr, nur SMS
Please don't call me, text only
Please do not text me after nine in the evening
do not email me the invoice, I will pay in cash
Remove the SIM and my number from the phone
Wait, stop, how much is it?
I want you to stop
Can you please stop?
Why do you keep texting me
Too many messages
Not interested, thanks
Das sind mir zu viele SMS
Kein Interesse
Troppi messaggi
""".strip().split("\n")

# Ordinary messages: nothing may be stopped by them.
NONE = """
I'll stop by tomorrow at ten
Will stop in after work
Is there parking or a tram stop near the shop?
The radio still stops after five minutes
It stopped working again last night
Does the camera stop by itself when the card is full?
Please don't stop the good work
You did not text me yesterday
Why did nobody message me?
I got no message from you, is it ready?
At the end of the week is fine
By the end of May please
My number is the same as before
Is this the right number for the workshop?
Please call me
Please text me when it is done
Yes please start
Start with the left speaker
No
No thanks
no problem, take your time
There is no more contact at the battery spring
Can you help me with the settings?
The display says END, what does it mean?
I will take it off your hands on Friday
Please do not delete the data on it
Don't forget me
Hör bitte auf das Knacken links
Hört bitte auf den Ton beim Einschalten
Dann komme ich halt morgen
Ich komme Ende der Woche
Ich melde mich morgen ab sieben Uhr
Melden Sie sich bitte, wenn die Kamera fertig ist
You can stop by or call, text me when you know
Please don't send me the old part
Schicken Sie mir keine Rechnung
Lassen Sie das Radio in Ruhe liegen
Non mandatemi il pezzo vecchio
You have the wrong radio on my ticket
Ich kündige an: ich komme um fünf
My friend will pick it up, please text him instead
Die Bushaltestelle ist vor der Tür, oder?
Er stoppt immer nach zwei Minuten
Bitte nicht aufhören, es eilt
Ich habe keine Nachricht bekommen
Können Sie mir helfen?
Bitte schreiben Sie mir, wenn es fertig ist
Ja
Nein danke
Schicken Sie mir bitte eine Rechnung
Bitte meine Daten nicht löschen, die Fotos sind wichtig
Der Akku reicht nicht mehr lange
Wo ist das Ende des Kabels?
Passo domani alle cinque
Mi fermo dopo il lavoro
C'è una fermata del tram vicino?
Non ho ricevuto messaggi
Non posso venire, chiamatemi
Non posso oggi, scrivetemi domani
Non mandatemi il ricambio per posta
Non potete scrivermi quando è pronto?
Non riesco a ricevere i messaggi
Non mi chiami prima delle dieci
Scrivetemi quando è pronta
La console si ferma e non riparte
Si ferma sempre dopo due minuti
Va bene, grazie
No grazie
Mi potete aiutare?
Non cancellate le foto per favore
Basta che sia pronto venerdì
Fine settimana va bene
Liked “Your radio is ready. Reply STOP to opt out of these messages”
""".strip().split("\n")

START = [
    "Start",
    "start please",
    "You can text me again",
    "Opt in",
    "Wieder anmelden",
    "Sie dürfen mir wieder schreiben",
]
START += ["Riprendi", "Potete scrivermi di nuovo", "Mi scriva di nuovo, grazie", "Ricominciate a scrivermi"]
HELP = ["help please", "Hilfe!", "Bitte Hilfe", "aiuto", "Info bitte", "help me"]
WRONG = ["You have the wrong number", "Sorry, wrong person", "Sie haben die falsche Nummer", "Falsche Nummer!"]
WRONG += ["Da haben Sie sich verwählt", "Ha sbagliato numero", "Numero sbagliato", "Avete sbagliato persona"]
WRONG += ["Questo numero non è della signora Moss"]
ERASURE = ["Please delete my data", "Erase all my details please", "Forget everything about me"]
ERASURE += ["Bitte löschen Sie meine Daten", "Ich möchte, dass meine Daten gelöscht werden", "Recht auf Löschung"]
ERASURE += [
    "Cancellate i miei dati",
    "Chiedo la cancellazione dei dati personali",
    "Vorrei che i miei dati siano cancellati",
    "Delete all information you have about me",
]
