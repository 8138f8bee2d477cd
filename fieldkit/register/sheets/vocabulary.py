"""How crews call their columns and states, in English and Spanish: from which a mapping is proposed, never taken. Pure data.

From the headings of public data sets of tagged corals and from common practice; whoever has the sheet sees the proposal first.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from collections.abc import Mapping as Map

HEADINGS: Map[str, str] = {
    "site": "site|site name|reef|reef name|location|locality|dive site|zone|arrecife|sitio|lugar|localidad|zona",
    "plot": "plot|plot id|ring|cluster|transect|quadrat|array|module|parcela|anillo|transecto|cuadrante|modulo",
    "position": "position|pos|place|slot|posicion|puesto",
    "tag": "tag|tag no|tag number|tag id|tag code|coral id|coral|coral no|coral number|id|label|no|number|plate|colony"
    "|colony id|colony no|nubbin|fragment|fragment id|outplant id|placa|etiqueta|marca|colonia|numero|numero de placa",
    "genotype": "genotype|geno|genet|clone|accession|strain|genotipo|clon",
    "species": "species|taxon|taxa|kind|sp|spp|especie|species code",
    "planted_on": "planted on|planted|date planted|planting date|outplanted|outplant date|date outplanted"
    "|outplanting date|put out|out|deployed|transplanted|transplant date|fecha de trasplante|fecha trasplante"
    "|trasplantado|fecha de siembra|sembrado|plantado",
    "seen_on": "seen on|date|visit|visit date|survey date|date surveyed|monitoring date|date monitored|sampling date"
    "|census date|dive date|observed|last seen|seen|day|fecha|fecha de visita|fecha de monitoreo|dia|visita",
    "last_alive": "last alive|last seen alive|date last alive|ultima vez vivo|visto vivo",
    "known_from": "known from|followed from|first seen|conocido desde",
    "withdrawn_on": "withdrawn|withdrawn on|removed on|harvested|retirado|retirado el",
    "status": "status|state|condition|alive dead|live dead|survival|survived|outcome|fate|mortality|estado|condicion"
    "|vivo muerto|supervivencia|health",
    "size_cm": "size|size cm|diameter|max diameter|width|greatest width|length|max length|cm|talla|talla cm|diametro"
    "|ancho|largo|tld",
    "live_tissue": "live tissue|percent live|live|tissue|live cover|pct live|tejido vivo|vivo",
    "cause": "cause|cause of death|mortality cause|causa|causa de muerte",
    "recorder": "recorder|recorded by|observer|diver|surveyor|by|initials|observador|buzo|iniciales|anotador",
    "note": "note|notes|comment|comments|remark|remarks|observations|nota|notas|observaciones|comentario|comentarios",
    "round": "round|timepoint|time point|census|month|ronda|mes",
    "age_days": "days|age|age days|days since planting|days out|dias|edad",
    "planted": "planted|n planted|number planted|no planted|total planted|outplanted|initial count|sembrados|plantados",
    "alive": "alive|n alive|number alive|no alive|live|count alive|vivos",
    "dead": "dead|n dead|number dead|no dead|count dead|muertos",
    "missing": "missing|n missing|number missing|no missing|lost|desaparecidos|perdidos",
}
"""Our name to the headings that probably mean it, as `plain_words` gives them."""

STATES: Map[str, str] = {
    "alive": "alive|live|living|ok|norm|normal|healthy|survived|vivo|viva|vivos|sano|sana",
    "dead": "dead|died|mort|mortality|muerto|muerta",
    "missing": "missing|gone|lost|not found|absent|desaparecido|desaparecida|perdido|perdida|no encontrado|no encontrada",
    "not_searched": "not searched|not surveyed|not sampled|unsampled|not visited|not reached|no buscado|no muestreado"
    "|no visitado",
}
"""A state to the words that mean it everywhere. Letters and figures mean something else in every programme: they are asked."""

NOT_MEASURED = frozenset(
    {"na", "n a", "nd", "n d", "ns", "uk", "unk", "unknown", "not measured", "no medido", "nm", "", "none"}
)
"""Words in a column of numbers that say that nobody measured; marks alone ("-", "?") fold to nothing."""

TABS_WITHOUT_NAME = re.compile(r"(sheet|hoja|tab|tabelle|feuil)\s*\d*", re.IGNORECASE)
"""What spreadsheet programs call a tab that nobody named."""

_WORD = re.compile(r"[^\W_]+")


def plain_words(text: str) -> str:
    """Lower case, without accents and marks: "% Live (cm)" is "live cm"."""
    bare = unicodedata.normalize("NFKD", text.replace("%", " percent ")).encode("ascii", "ignore").decode("ascii")
    return " ".join(_WORD.findall(bare.casefold()))


def meanings(listed: Map[str, str]) -> dict[str, list[str]]:
    """Each phrase to what it may mean, the likelier first."""
    found: dict[str, list[str]] = {}
    for name, phrases in listed.items():
        for phrase in phrases.split("|"):
            found.setdefault(phrase, []).append(name)
    return found


def likely(text: str, phrases: Map[str, Iterable[str]]) -> list[str]:
    """What a heading probably means: by all of it first, then by the longest phrase that it holds."""
    words = plain_words(text).split()
    held = [phrase for phrase in phrases if _holds(words, phrase.split())]
    held.sort(key=lambda phrase: (-len(phrase.split()), -len(phrase)))
    return list(dict.fromkeys(name for phrase in held for name in phrases[phrase]))


def _holds(words: list[str], phrase: list[str]) -> bool:
    return any(words[at : at + len(phrase)] == phrase for at in range(len(words) - len(phrase) + 1))
