"""The fixed words in German.

The classes of contents are word for word those of Verordnung (EG) 648/2004, Anhang VII
A (read at gesetze.legal/eu/vo_eg_2004_648/anhang_vii: second hand). The signal words
are those of Verordnung (EG) 1272/2008 (second hand). All else is our translation of
the English.

>>> GERMAN.bands[1]
'5 % und darüber, jedoch weniger als 15 %'
"""

from __future__ import annotations

from typing import Final

from batches.wording.shape import Words

GERMAN: Final = Words(
    language="de",
    language_name="Deutsch",
    months=(
        "Jan",
        "Feb",
        "Mär",
        "Apr",
        "Mai",
        "Jun",
        "Jul",
        "Aug",
        "Sep",
        "Okt",
        "Nov",
        "Dez",
    ),
    decimal_mark=",",
    product="Produkt",
    batch="Charge",
    bottle="Flasche",
    number="Nr.",
    filled="Abgefüllt",
    use_by="Zu verwenden bis",
    net_quantity="Nennfüllmenge",
    contents="Inhaltsstoffe",
    soap="Seife",
    bands=(
        "unter 5 %",
        "5 % und darüber, jedoch weniger als 15 %",
        "15 % und darüber, jedoch weniger als 30 %",
        "30 % und darüber",
    ),
    directions="Anwendung",
    cautions_title="Vorsichtig damit umgehen",
    cautions=(
        "Nicht für Haut, Haare, Lebensmittel oder Tiere.",
        "Darf nicht in die Hände von Kindern gelangen.",
        (
            "Alkalisch. In den Augen: sofort mindestens 20 Minuten mit Wasser spülen,"
            " Kontaktlinsen herausnehmen, ärztlichen Rat einholen."
        ),
        "Nicht mit Säuren oder Bleichmitteln mischen.",
        "Nicht für Wolle, Seide oder Aluminium.",
        "In dieser Flasche lassen. Nie in Getränkeflaschen füllen.",
    ),
    spray_title="Auf Pflanzen: eigene, auf eigenem Grund, auf eigene Gefahr",
    spray_own_use="Nur für den eigenen Gebrauch im Betrieb. Nicht verkaufen oder"
    " verschenken.",
    spray_cautions=(
        "Örtliche Vorschriften prüfen.",
        "An einem Blatt testen, 24 bis 48 Stunden warten.",
        (
            "Nicht bei Sonne, Hitze, Wind, Trockenheit oder Frost; nicht auf offene"
            " Blüten oder wenn Bienen fliegen."
        ),
        "Handschuhe, Schutzbrille, lange Ärmel.",
        (
            "Schädlich für Fische und andere Wassertiere: von Teichen, Gräben und"
            " Abläufen fernhalten."
        ),
    ),
    authority_number="Nummer der Behörde",
    poison_centre="Giftnotruf",
    signal_warning="Achtung",
    signal_danger="Gefahr",
    specimen="MUSTER",
    copy="Ausfertigung",
    doses_title="Dosis für eine Maschinenfüllung",
    doses_unit="ml je Füllung",
    water_hardness="Wasser",
    water_soft="weich",
    water_medium="mittel",
    water_hard="hart",
    contact="Kontakt",
    telephone="Telefon",
    email="E-Mail",
    tell_us="Bitte sagen Sie uns Bescheid.",
    about_bottle="Zu dieser Flasche",
    recall="Rückruf",
    recall_none="keiner bekannt",
    recall_see_above="siehe die Warnung oben",
    recall_opened="eröffnet",
    recall_closed="beendet",
    recall_title="Rückruf: diese Flasche nicht verwenden",
    recall_text=(
        "Lassen Sie die Flasche zu, bewahren Sie sie unerreichbar für Kinder auf, und"
        " melden Sie sich bei uns."
    ),
    recall_over_title="Diese Flasche wurde zurückgerufen",
    recall_over_text=(
        "Der Rückruf ist beendet. Verwenden Sie die Flasche nicht; melden Sie sich bei"
        " uns."
    ),
    on_hold_title="Angehalten: diese Flasche vorerst nicht verwenden",
    on_hold_text=(
        "Wir prüfen sie noch einmal. Lassen Sie die Flasche zu und melden Sie sich bei"
        " uns."
    ),
    not_released_title="Noch nicht freigegeben: diese Flasche nicht verwenden",
    not_released_text=(
        "Nach unseren Aufzeichnungen ist sie nicht freigegeben und hat uns nie"
        " verlassen. Lassen Sie sie zu, und sagen Sie uns, wo Sie sie gefunden haben."
    ),
    destroyed_title="Diese Flasche dürfte es nicht mehr geben",
    destroyed_text=(
        "Sie ist als vernichtet eingetragen. Verwenden Sie den Inhalt nicht, und sagen"
        " Sie uns, wo Sie die Flasche gefunden haben."
    ),
    returned_title="Diese Flasche kam zu uns zurück",
    returned_text=(
        "Nach unseren Aufzeichnungen dürfte sie niemand haben. Verwenden Sie den Inhalt"
        " nicht, und sagen Sie uns, wo Sie die Flasche gefunden haben."
    ),
    kept_title="Diese Flasche bewahren wir als Muster auf",
    kept_text=(
        "Nach unseren Aufzeichnungen steht sie bei uns, und niemand sonst dürfte sie"
        " haben. Verwenden Sie den Inhalt nicht, und sagen Sie uns, wo Sie die Flasche"
        " gefunden haben."
    ),
    past_use_by_title="Zu alt zum Verwenden",
    past_use_by_text=(
        "Verwenden Sie den Rest nicht mehr. Entsorgen Sie ihn so, wie es bei Ihnen"
        " vorgeschrieben ist."
    ),
    duplicate_title="Vielleicht tragen mehrere Flaschen diesen Code",
    duplicate_text=(
        "Wir gehen dem nach. Verwenden Sie den Inhalt vorerst nicht, lassen Sie die"
        " Flasche zu, und sagen Sie uns, wo Sie sie gefunden haben."
    ),
    unknown_title="Dieser Code ist nicht von uns",
    unknown_text=(
        "Der Code ist richtig gebaut, aber keine Flasche von uns trägt ihn. Wenn Sie"
        " eine Flasche mit diesem Code haben, verwenden Sie sie nicht, und sagen Sie"
        " uns Bescheid."
    ),
    mistyped_title="Das ist kein Flaschencode",
    mistyped_text=(
        "Ein Zeichen ist falsch oder fehlt. Ein Flaschencode hat drei Gruppen zu vier"
        " Zeichen und kein 0, 1, I, L, O oder U. Scannen Sie das Etikett, oder tippen"
        " Sie den Code noch einmal."
    ),
    too_many_title="Zu viele Codes auf einmal",
    too_many_text=(
        "Von Ihrem Anschluss wurden in kurzer Zeit viele Codes abgefragt. Warten Sie"
        " zehn Minuten und versuchen Sie es dann wieder. Wenn es eilt, rufen Sie uns"
        " an."
    ),
    type_code="Code auf der Flasche",
    show="Anzeigen",
    language_choice="Sprache",
    text_not_in_language="Ein Teil dieses Textes ist nur in einer anderen Sprache da.",
    label_is_of_record="Es gilt, was auf dem Etikett Ihrer Flasche steht.",
    sign_in="Für die Leute im Betrieb: anmelden",
    records_kept_with="Aufzeichnungen mit",
    demo="Vorführung: ein erfundener Hof. Nichts hier ist eine echte Aufzeichnung.",
)
