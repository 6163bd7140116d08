"""What logs in several languages call sides, sexes and agents; and the codes of the trade's own words."""

from __future__ import annotations

from functools import cache

from followup.domain.words import Procedure, Retina, Sex, Side, Tamponade, Term, YesNo


def _each(**words: str) -> dict[str, str]:
    return {word: code for code, listed in words.items() for word in listed.split("|")}


SIDES = _each(
    right="right|r|re|rt|od|o.d.|r.e.|right eye|rechts|ra|rechtes auge|droit|droite|d|oeil droit|œil droit"
    "|derecho|derecha|der|اليمنى|اليمين|يمين|يمنى|أيمن",
    left="left|l|le|lt|os|o.s.|l.e.|left eye|links|la|linkes auge|gauche|g|og|oeil gauche|œil gauche"
    "|izquierdo|izquierda|izq|i|oi|o.i.|اليسرى|اليسار|يسار|يسرى|أيسر",
)
BOTH_SIDES = frozenset(
    _each(
        both="both|both eyes|ou|o.u.|be|r+l|r & l|r/l|rl|beide|beidseits|ba|les deux|odg"
        "|ambos|ao|ambos ojos|كلتا|العينين|كلاهما"
    )
)
SEXES = _each(
    female="female|f|w|woman|weiblich|frau|femme|féminin|femenino|mujer|أنثى|انثى",
    male="male|m|man|männlich|mann|homme|h|masculin|masculino|hombre|varón|ذكر",
    other="other|x",
)
YES_NO = _each(
    yes="yes|y|true|ja|j|oui|o|sí|si|نعم|+", no="no|n|false|nein|non|لا", unknown="unknown|not recorded"
)
TAMPONADES = _each(
    none="none|no tamponade|bss|saline|balanced salt|keine|aucun|ninguno",
    air="air|luft|aire|هواء",
    sf6="sf6|sf 6|sulfur hexafluoride|sulphur hexafluoride",
    c2f6="c2f6|c2 f6",
    c3f8="c3f8|c3 f8|perfluoropropane",
    gas="gas|gaz|غاز",
    oil_1000="oil 1000|so 1000|silicone oil 1000|oil 1300|so 1300",
    oil_5000="oil 5000|so 5000|silicone oil 5000|oil 5700|so 5700",
    oil="oil|so|silicone|silicone oil|silicon oil|öl|silikonöl|huile|huile de silicone|aceite"
    "|aceite de silicona|زيت|زيت السيليكون",
    heavy_oil="heavy oil|heavy silicone oil",
    heavy_liquid="heavy liquid|pfcl|perfluorocarbon|pfd",
)
RETINAS = _each(
    attached="attached|flat|anliegend|à plat|aplicada|ملتصقة",
    detached_macula_on="detached macula on|rd macula on",
    detached_macula_off="detached macula off|rd macula off",
)
PROCEDURES = _each(
    vitrectomy="ppv|vit|vitrectomy|vitrektomie|vitrectomie|vitrectomía|استئصال الزجاجية",
    membrane_peel="membrane peeling|peel|peeling",
    ilm_peel="ilm|ilm peeling",
    ilm_flap="flap|inverted flap",
    endolaser="laser endophotocoagulation|endophotocoagulation",
    cryotherapy="cryo|kryo|cryotherapie",
    scleral_buckle="buckle|sb|cerclage|plombe|buckling",
    gas_injection="pneumatic retinopexy|gas top up",
    oil_insertion="oil in|oil insertion|oil fill",
    oil_removal="oil removal|oil out|roso|removal of oil|removal of silicone oil|ölentfernung"
    "|ablation de silicone",
    oil_exchange="oil exchange|oil change",
    lens_surgery="phaco|phacoemulsification|cataract surgery|iol",
    pressure_surgery="trabeculectomy|tube|glaucoma surgery",
    injection="ivt|intravitreal injection",
)
_SYNONYMS: dict[type[Term], dict[str, str]] = {
    Side: SIDES,
    Sex: SEXES,
    YesNo: YES_NO,
    Tamponade: TAMPONADES,
    Procedure: PROCEDURES,
    Retina: RETINAS,
}


@cache
def words_for(kind: type[Term]) -> dict[str, str]:
    """Every text, lower case, that stands for a code of this kind: codes, labels and other words."""
    own = {text.casefold(): term.value for term in kind for text in (term.value, term.label)}
    return {**_SYNONYMS.get(kind, {}), **own}
