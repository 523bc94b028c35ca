"""German: the main panel, the figure's panel, and the titles of all panels.

Keys are Blender's: context and English text. "Operator" is the context of operators' labels.
"""

_TITLES = {
    "Figure": "Figur",
    "Pose": "Gießlage",
    "Air": "Luft",
    "Rising Resin": "Steigendes Harz",
    "Sprue Base": "Angusssockel",
    "Gates": "Anschnitte",
    "Vents": "Entlüftungen",
    "Print": "Druck",
    "Quantities": "Mengen",
    "Mould": "Form",
    "Bench": "Werkbank",
}
_BUTTONS = {
    "Make Master": "Urmodell erzeugen",
    "Use Selected": "Auswahl verwenden",
    "Remove From Figure": "Aus der Figur nehmen",
    "Show Place": "Stelle zeigen",
    "Paint Protected Surface": "Geschützte Fläche malen",
    "Stop": "Anhalten",
    "Find Pose": "Gießlage suchen",
    "Find Air": "Luft suchen",
    "Check Again": "Erneut prüfen",
    "Plan Mould": "Form planen",
    "Export Master": "Urmodell exportieren",
    "Example Snail": "Beispielschnecke",
}
_LABELS = {
    "Unit": "Einheit",
    "Scene Units": "Einheiten der Szene",
    "1 Unit = 1 mm": "1 Einheit = 1 mm",
    "1 Unit = 1 cm": "1 Einheit = 1 cm",
    "1 Unit = 1 m": "1 Einheit = 1 m",
    "Protected Surface": "Geschützte Fläche",
    "Protected": "Geschützt",
    "Height": "Höhe",
    "Width by Depth": "Breite mal Tiefe",
    "Volume": "Volumen",
    "Shells United": "Vereinigte Hüllen",
    "Object": "Objekt",
    "Back to Object Mode": "Zurück in den Objektmodus",
}
_TOOLTIPS = {
    "Make the selected objects the figure; several objects are united into one":
        "Die ausgewählten Objekte sind die Figur; mehrere werden zu einem vereinigt",
    "Take this object off the figure's list; the object itself stays":
        "Dieses Objekt von der Liste der Figur nehmen; das Objekt selbst bleibt",
    "Turn the view to this place and put the 3D cursor there":
        "Die Ansicht zu dieser Stelle drehen und den 3D-Cursor dorthin setzen",
    "Paint the surface of the active object that vents keep off: red is kept free of them":
        "Die Fläche des aktiven Objekts malen, von der Entlüftungen wegbleiben: Rot bleibt frei",
    "Find the trapped air, add sprue base, funnel, gates and vents, and prove that the air "
    "gets out. Vents and gates made before are replaced; those that you reshaped are set "
    "aside, vents that you added stay in the scene for Check Again":
        "Eingeschlossene Luft suchen, Angusssockel, Trichter, Anschnitte und Entlüftungen "
        "anfügen und nachweisen, dass die Luft hinauskommt. Frühere Entlüftungen und Anschnitte "
        "werden ersetzt; umgeformte werden beiseitegelegt, eigene bleiben in der Szene, für "
        "Erneut prüfen",
    "Stop the running job; the scene stays as it is":
        "Die laufende Arbeit anhalten; die Szene bleibt, wie sie ist",
    "Add a snail, 73 mm long whatever the scene's units, to try a casting on":
        "Eine Schnecke zum Ausprobieren hinzufügen, 73 mm lang in jeder Einheit der Szene",
    "How long one Blender unit is in the printed and cast figure":
        "Wie lang eine Blender-Einheit an der gedruckten und gegossenen Figur ist",
    "Use the scene's Unit Scale, in metres per Blender unit":
        "Den Einheitenmaßstab der Szene verwenden, in Metern je Blender-Einheit",
    "One Blender unit is one millimetre, whatever the scene says":
        "Eine Blender-Einheit ist ein Millimeter, was auch die Szene sagt",
    "One Blender unit is one centimetre, whatever the scene says":
        "Eine Blender-Einheit ist ein Zentimeter, was auch die Szene sagt",
    "One Blender unit is one metre, whatever the scene says":
        "Eine Blender-Einheit ist ein Meter, was auch die Szene sagt",
    "Vertex group, on any objects of the figure, whose surface vents keep off":
        "Scheitelpunktgruppe, an beliebigen Objekten der Figur, von der Entlüftungen wegbleiben",
}  # fmt: skip
_MESSAGES = {
    "Paint red what vents keep off; the next Make Master or Check Again heeds it":
        "Rot malen, wovon Entlüftungen wegbleiben; es gilt ab dem nächsten Urmodell erzeugen oder "
        "Erneut prüfen",
    "Switch to Object Mode first": "Zuerst in den Objektmodus wechseln",
    "An object of the figure is gone: remove its row in Figure, or select the figure and press "
    "Use Selected":
        "Ein Objekt der Figur fehlt: seine Zeile unter Figur entfernen, oder die Figur auswählen "
        "und Auswahl verwenden drücken",
    "'{name}' is disabled in the viewport: enable it in the Outliner":
        "„{name}“ ist in der Ansicht abgeschaltet: im Outliner einschalten",
    "'{name}' has edges but no faces: fill it, or add a Skin modifier":
        "„{name}“ hat Kanten, aber keine Flächen: füllen, oder einen Skin-Modifikator hinzufügen",
    "'{name}' is a mesh without faces: select the figure's own objects":
        "„{name}“ ist ein Netz ohne Flächen: die Objekte der Figur auswählen",
    "No figure here: import or model one, or try Add > Mesh > Example Snail":
        "Hier ist keine Figur: eine importieren oder modellieren, oder Hinzufügen > Netz > "
        "Beispielschnecke ausprobieren",
    "'{name}' is hidden: show it in the Outliner and select it":
        "„{name}“ ist verborgen: im Outliner einblenden und auswählen",
    "Select the figure's objects in the view": "Die Objekte der Figur in der Ansicht auswählen",
    "'{name}' is a result: select the figure's own objects":
        "„{name}“ ist ein Ergebnis: die Objekte der Figur selbst auswählen",
    "'{name}' shows instances: use Object > Apply > Make Instances Real":
        "„{name}“ zeigt Instanzen: Objekt > Anwenden > Instanzen realisieren",
    "'{name}' has no surface ({kind}): select the figure's meshes":
        "„{name}“ hat keine Oberfläche ({kind}): die Netze der Figur auswählen",
    "Choose your object in Sprue Base, or a Kind of base":
        "Unter Angusssockel das eigene Objekt wählen oder eine Art von Sockel",
    "{n} objects": "{n} Objekten",
    "Make Master finds the air that {what} would trap, and adds base, funnel and vents":
        "Urmodell erzeugen sucht die Luft, die in {what} stehen bliebe, und fügt Sockel, Trichter "
        "und Entlüftungen an",
    "Figure or settings changed: Make Master, or Check Again to keep the vents":
        "Figur oder Einstellungen geändert: Urmodell erzeugen, oder Erneut prüfen, um die "
        "Entlüftungen zu behalten",
    "Vents changed: Check Again": "Entlüftungen geändert: Erneut prüfen",
    "Gates changed: Check Again": "Anschnitte geändert: Erneut prüfen",
    "The master was deleted or renamed: Check Again makes it anew":
        "Das Urmodell wurde gelöscht oder umbenannt: Erneut prüfen erzeugt es neu",
    "For what is selected, press Use Selected first":
        "Für das Ausgewählte zuerst Auswahl verwenden drücken",
    "No air pocket would leave a visible bubble, so no vent was needed":
        "Keine Luft würde eine sichtbare Blase hinterlassen, also war keine Entlüftung nötig",
    "Poured upside down, {matter} of {all} air pockets would leave a visible bubble without vents":
        "Kopfüber gegossen würden ohne Entlüftungen {matter} von {all} Lufteinschlüssen eine "
        "sichtbare Blase hinterlassen",
    "{matter} of {all} air pockets would leave a visible bubble without vents":
        "Ohne Entlüftungen würden {matter} von {all} Lufteinschlüssen eine sichtbare Blase "
        "hinterlassen",
    "Next: look in Vents why air is left":
        "Weiter: unter Entlüftungen nachsehen, warum Luft bleibt",
    "Next: decide what is marked in Vents ({n})":
        "Weiter: unter Entlüftungen entscheiden, was dort markiert ist ({n})",
    "Next: look it over, then Export writes what you print":
        "Weiter: ansehen, dann schreibt Export, was gedruckt wird",
    "{n} vent": "{n} Entlüftung",
    "{n} vents": "{n} Entlüftungen",
    "{n} gate": "{n} Anschnitt",
    "{n} gates": "{n} Anschnitten",
    "{n} place": "{n} Stelle",
    "{n} places": "{n} Stellen",
    "{n} direction": "{n} Richtung",
    "{n} directions": "{n} Richtungen",
    "{n} air pocket": "{n} Lufteinschluss",
    "{n} air pockets": "{n} Lufteinschlüsse",
    "Master made with {vents}": "Urmodell mit {vents} erzeugt",
    "Master made with {vents} and {gates}": "Urmodell mit {vents} und {gates} erzeugt",
    "Checked with {vents}": "Geprüft mit {vents}",
    "Checked with {vents} and {gates} as they are": "Geprüft mit {vents} und {gates}, wie sie sind",
    "{done}; {pockets} left, see Vents": "{done}; übrig: {pockets}, siehe Entlüftungen",
    "{done}; see the warnings in Vents": "{done}; siehe die Warnungen unter Entlüftungen",
    "{done}; no air is left that matters": "{done}; es bleibt keine Luft, die stört",
    "Set aside, as you had changed them: {names}": "Beiseitegelegt, da umgeformt: {names}",
    "Left out: {vents} of your own; Check Again uses them":
        "Weggelassen: {vents} von Ihnen; Erneut prüfen verwendet sie",
    "No air is trapped": "Es bleibt keine Luft stehen",
    "{pockets} found, {matter} that matter": "{pockets} gefunden, davon störend: {matter}",
    "Mould planned: {ml} ml of rubber, {places} to brush first":
        "Form geplant: {ml} ml Silikon, {places} zuerst einzupinseln",
    "None of {tried} is better than the standing pose":
        "Besser als die stehende Lage ist keine von: {tried}",
    "{tried} tried: the best has {best} points, the standing pose {standing}":
        "Versucht: {tried}; die beste hat {best} Punkte, die stehende Lage {standing}",
    "{name} Is Gone": "{name} fehlt",
    "Very small for a casting: check Unit and the object's scale":
        "Sehr klein für einen Guss: Einheit und Größe des Objekts prüfen",
    "Very large for a casting: check Unit and the object's scale":
        "Sehr groß für einen Guss: Einheit und Größe des Objekts prüfen",
    "{width} by {depth} mm": "{width} mal {depth} mm",
    "Group on {n} of {all} Objects": "Gruppe an {n} von {all} Objekten",
    "And {n} More": "Und {n} weitere",
}  # fmt: skip

GERMAN = {
    **{("*", text): said for table in (_TITLES, _LABELS, _TOOLTIPS, _MESSAGES)
       for text, said in table.items()},
    **{("Operator", text): said for text, said in _BUTTONS.items()},
}  # fmt: skip
