"""Which remarks speak of what can hurt, or stand in the way of work: they are told first.

The beginnings of words of six languages, without accents. One too many only moves a remark up;
one that is missing hides nothing, since what there is no room for is counted. Common practice,
no published source.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_STEMS = {
    "valve": "valv vanne robinet venti vtl schieber hahn saracinesc klap shut",
    "gauge": "gaug gage manom needle selector zeiger aguja aguill lancett",
    "pump": "pump bomba bomb pomp",
    "leak": "leak burst crack drip spray spurt hose leck undicht riss tropf fuite fuga vazam perdit"
    " crepa rott rupt rotur gote",
    "electrics": "electr elektr elettr wire wiring cabl kabel cavo batter bater strom spark shock"
    " fuse solenoid controller magnet programm program corrient courant scossa choque",
    "chemicals": "acid chlor cloro fertili fertig inject chemic chimi quimic pesticid herbicid"
    " dosing saure dunger gift acide acido engrais abono adubo veleno poison toxic",
    "access": "access key keys locked lock fence gate ladder pit manhole road bridge flooded mud"
    " schlussel tor zaun leiter grube weg acces cle cles portail llave escalera porton chave"
    " portao chiave cancello scala snake wasp bees hornet dog dogs bull hund wespe serpent abeill"
    " abej avisp perro vespa cane cao",
    "danger": "danger hazard careful caution beware unsafe injur hurt accident warn people"
    " somebody someone gefahr vorsicht verletz achtung peligr cuidado perigo attenti"
    " pericol",
    "out of order": "stuck stick jam seized broke broken loose rust corrod blocked cannot cant dont"
    " defect fault faulty damag missing worn klemmt kaputt fest fehlt bloque coince casse"
    " atasc roto rota trava quebr blocca guast worn",
}  # fmt: skip
_WHOLE = frozenset((
    "key", "keys", "lock", "pit", "tor", "weg", "cle", "cles", "dog", "dogs", "bull", "cane",
    "cao", "gate", "road", "fest", "rota", "roto", "hahn", "jam",
))  # fmt: skip
# Trouble with one of the things by which a filter is made safe before it is opened, or a flush is
# started: both words in one remark, or pressure that stays. One too many costs a line of caution.
_SAFE_BY = (
    f"{_STEMS['valve']} {_STEMS['gauge']} ventil isolat absperr manomet drain purg cover lid bolt"
    " clamp deckel couvercl tapa tampa coperch"
)
_TROUBLE = (
    f"{_STEMS['out of order']} {_STEMS['leak']} dead wrong zero bent fail difficult partly passing"
    " passes never impossib unmogl schwer difici"
)
_NOT = "no not hard half nicht kein keine pas nao non sin sans senza mal duro dur"  # whole words
_BEGINS = sorted({stem for stems in _STEMS.values() for stem in stems.split()})
_SPEAKS = re.compile(
    r"(?<![a-z])(?:"
    + "|".join(f"{stem}(?![a-z])" if stem in _WHOLE else stem for stem in _BEGINS)
    + r")|ventil|schieber|manomet|kabel|do not|don't|can't|out of order"
)


_THING = re.compile(rf"(?<![a-z])(?:{'|'.join(_SAFE_BY.split())})|ventil|schieber|manomet")
_WRONG = re.compile(
    rf"(?<![a-z])(?:{'|'.join(_TROUBLE.split())}|(?:{'|'.join(_NOT.split())})(?![a-z]))|n't|n’t"
)
_STAYS = re.compile(
    r"(?:stay|remain|hold|held|keep|kept|trap|resid|under|let|releas|bleed|still has|still some)\w*"
    r"\W{1,3}(?:\w+\W{1,3}){0,2}pressur"
    r"|pressur\w*\W{1,3}(?:\w+\W{1,3}){0,2}(?:stay|remain|trap|cannot|can't|can’t|won't|won’t"
    r"|(?:does|did|will|would|could|can) not|doesn't|doesn’t|didn't|didn’t)"
    r"|isolat|absperr"
)


@lru_cache(maxsize=4096)
def speaks(words: str) -> bool:
    """Whether a remark speaks of valve, gauge, pump, leak, chemicals, access or danger."""
    return _SPEAKS.search(_plain(words)) is not None or unsafe(words)


@lru_cache(maxsize=4096)
def unsafe(words: str) -> bool:
    """Whether a remark speaks of trouble with what makes a filter safe to open: a valve that does
    not close, a gauge that is broken, a filter that cannot be isolated, pressure that stays."""
    plain = _plain(words)
    both = _THING.search(plain) is not None and _WRONG.search(plain) is not None
    return both or _STAYS.search(plain) is not None


def _plain(words: str) -> str:
    plain = unicodedata.normalize("NFKD", words.casefold())
    return "".join(c for c in plain if not unicodedata.combining(c))
