"""Concepts named in headers: the wanted quantities, and those that merely look like them.

The words are those of the field, in the languages in which accelerograms are published. The first matching pattern
names the item, so lookalikes of a wanted quantity (a natural frequency, a trigger level) come before it.
"""

from __future__ import annotations

import functools

import re2

_CONCEPTS: tuple[tuple[str, str], ...] = (
    # lookalikes
    ("natural frequency", (
        r"(?:nat(?:ural|\.|)|undamped|sensor|transducer|instrument|pick-?up|seismometer|resonan\w*"
        r"|own)[ .]*(?:freq|period|resonan)|natfreq|nat\.? ?freq|eigenfreq|eigenperiod"
        r"|frequen\w+ (?:natural|propria)|frequen\w+ propre|periodo (?:natural|proprio)|periode propre"
        r"|resonance|corner of the sensor"
    )),
    ("damping", r"damp|smorzam|amortig|amortiss|amortec|dampf"),
    ("full scale", (
        r"full.?scale|\bclip\w*|\brange\b|tam olcek|fondo (?:de )?(?:scala|escala)|fundo de escala|pleine echelle"
        r"|vollausschlag|messbereich|input range"
    )),
    ("bits", r"\bbits?\b|resolution\b|word length|a/d converter"),
    ("filter", (
        r"filter|filtr|low.?cut|high.?cut|low.?pass|high.?pass|band.?pass|pass.?band|\bcorners?\b"
        r"|\bband\b|usable freq|frequency (?:range|content)|anti.?alias|cut.?off|frequency response|taper"
        r"|butterworth|\border\b|bandwidth"
    )),
    ("trigger time", r"trigger(?:ed)? (?:time|at)|time of trigger|trigger came|ausloesezeit|\btriggered\b"),
    ("trigger", r"trigger|threshold|disparo|declenchement|schwelle|soglia"),
    ("pre-event", r"pre.?event|pre.?trigger|post.?event|post.?trigger|\bmemory\b|preevent"),
    ("original rate", (
        r"before (?:decimation|resampling|trimming|cutting|editing)|\boriginal|\bprevious|\bprior\b|\bformer"
        r"|vorherig|ursprunglich|\banterior|\bprecedent|field (?:sampling|rate|digit)"
        r"|\b(?:raw|native|acquisition|recorded|recorder|digiti[sz]er|adc) (?:data )?(?:sampl\w* )?"
        r"(?:rate|freq\w*|interval)"
    )),
    ("peak", (
        r"\bpeaks?\b|\bmax(?:imum|ima|imale|imo|\.)?\b|\bpga\b|\bpgv\b|\bpgd\b|largest|hochstwert"
        r"|aceleracion maxima|spitzen|\bmin\b"
    )),
    ("strong part", r"bracketed|significant|strong (?:part|shaking|phase|motion duration)|arias"),
    ("event place", (
        r"epicent|hypocent|dis ?merkez|episantr|\bsource\b|\bfocus\b|\bfocal\b|event (?:lat|lon|coord)"
        r"|earthquake (?:lat"
        r"|lon|coord)|epizent"
    )),
    ("event", (
        r"magnitude|\bmag\b|\bdepth\b|profond|profundi|tiefe|distance|distanz|\bdist\b|back ?azimuth"
        r"|azimuth (?:to|from station)|origin|\bevent\b|\bevt\b|\bearthquake\b|erdbeben|sismo\b|terremoto"
        r"|seisme|herdzeit|mag\b|magnitud|epicentral|deprem|buyuklu|derinli|uzakli"
    )),
    ("number of", (
        r"(?:number|no\.?|num|count|total|all) (?:of )?(?:channels?|components?|records?|blocks?"
        r"|lines?|header|traces?)|lines? of data|data lines?|channels? of|record (?:no|number|id)\b"
        r"|\bcards?\b|header lines|lines in|zeilen|kopfzeilen"
    )),
    ("per line", r"per (?:line|row)|a line|each line|/ ?line|je zeile|por linea|par ligne|per riga"),
    ("total", (
        r"total (?:values|samples|points|number)|values? in all|in all\b|in file|altogether"
        r"|all (?:three )?components"
    )),
    ("other", (
        r"serial|\bs/n\b|file (?:no|number)|\bfile number|\bversion|\bissue\b|clock|timing|accuracy"
        r"|uncertaint|battery|voltage|supply|temperature|\bvs30\b|\bvs,?30|spectra|predominant"
        r"|gravity (?:used|constant)|acceleration of gravity used|data cent(?:re|er)|processed"
        r"|processing|digiti[sz]ed on|written|printed|created|oscillator|updates?|time code|film speed"
        r"|checksum|layout|oscillator|seismic moment|times are good|set once|copyright|tel\b|phone"
        r"|page|revision|frequency band|format|gain\b"
    )),
    # wanted quantities
    ("other station", r"(?:reference|nearest|nearby|neighbou?r\w*|other|partner|next) (?:station|site)"),
    ("start", (
        r"(?:start|begin\w*|sample (?:0|zero|1|one)\b|1st sample"
        r"|first (?:sample|value|ordinate|point)|record(?:ing)? (?:start|begins|began"
        r"|time)|inicio|debut|inizio|beginn|comienzo|anfang|time of (?:first|start)|initial time"
        r"|aufzeichnungsbeginn|\bt ?(?:zero|0)\b|time zero|zero time|primera muestra|primer dato"
        r"|premier echantillon|primo campione|primeira amostra|erster wert|baslang|kayit (?:zamani|saati)|ilk ornek)"
    )),
    ("interval", (
        r"interv\w*|time.?step|\bstep\b|delta.?t\b|\bdt\b|sampl\w* (?:period|interval|step|spacing)"
        r"|sec(?:onds?)? ?/ ?sample|seconds? per sample|increment|incremento|spacing|\bdelta\b|\bpasso?\b"
        r"|\bpaso\b|\bpas\b|schritt\w*|abtastintervall|\bevery\b|time between|arali[gk]|zaman adimi"
    )),
    ("rate", (
        r"sampl\w*[ -]*(?:rate|freq\w*)|\btimes (?:a|per|each|every) second"
        r"|(?:samples?|values?|points?) (?:each|every) s"
        r"|\brate\b|\bsps\b|\bfs\b|(?:samples?|scans?|points?|values?"
        r"|ordinates?) ?(?:per|/|a) ?s(?:ec(?:ond)?)?\b|abtast\w*|taxa de|frecuencia de muestreo|^muestreo\b|\bmps\b"
        r"|frequen\w+ (?:d'?|de |di )?(?:echantillonnage|campionamento|amostragem|muestreo)"
        r"|\bsampl(?:ing|ed)\b|\bsmp\b|cadence|frequency of sampling|\bhz\b|ornekleme (?:frekans|hiz|oran)\w*"
    )),
    ("duration", r"duration|\bsure(?:si)?\b|\blength\b|total time|dauer|duree|durata|duracion|duracao|\blasts?\b"),
    ("component", (
        r"points? to\b|pointing|\b(?:component|comp) (?:long|tran|vert|n[0-9]|s[0-9]|north|south|east"
        r"|west|up)"
    )),
    ("samples", (
        r"samples?|points?\b|\bnpts?\b|\bnpoints\b|number of (?:data|values|ordinates|scans)"
        r"|no\.? of (?:data|values|ordinates)|values?\b|\bordinates?\b|\bcount\b|\bscans?\b|^n$"
        r"|\bndata\b|pairs?\b|valeurs|valores|valori|muestras|amostras|campioni|echantillons|punti\b"
        r"|puntos|\bwerte\b|anzahl|counts follow|numero|\bdata\b|veri sayisi|ornek sayisi|nokta sayisi"
    )),
    ("latitude", r"\benlem|\blat(?:itude|itud|itudine|itud)?\b\.?|breite"),
    ("longitude", r"\bboylam|\blon(?:g(?:itude|itud|itudine)?)?\b\.?|lange\b|laenge"),
    ("elevation", r"\brakim\b|yukseklik|\belev\w*|altitud\w*|\bheight\b|\bhohe\b|hoehe|\balt\b|quota|above sea|\bh\b"),
    ("position", r"coordinates?|position|location|koordinaten|coordenadas|coordonnees|coordinate"),
    ("station name", r"(?:station|site|estacion|stazione) name|istasyon adi|\bname\b|nombre|\bnom\b|nome\b"),
    ("network", r"network|\bnet\b|\bnetz|\bred\b|reseau|\brete\b"),
    ("component", (
        r"[ck]omponent\w*|\bvoie\b|\bcomp\b|\bcha?n?\b|\bcmp\b|\baz\b|\baxes\b|\bchannel|\bkanal|\bcanal|direction|orientation|azimuth|\baxis\b"
        r"|richtung|composant|orientacion|orientamento|direzione|azimut|bilesen|\byon\b"
    )),
    ("station", (
        r"\bstation\b|\bsite\b|\bsta\b|\bstn\b|estacion|stazione|messstelle|kennung|codigo|codice|\bcode\b|\bstat\b"
        r"|instrument is at|accelerograph|estacao|istasyon"
    )),
    ("unit", (
        r"\bunits?\b|\bbirim|einheit|unidad|unite\b|unita\b|accelerations? (?:in|are in)|values? in\b"
        r"|ordinates? in|scaling|data in\b|quantity|grandeza|grandezza|grandeur|\bgrosse\b|messgrosse"
    )),
)  # fmt: skip
_COMPILED = tuple((name, re2.compile(pattern)) for name, pattern in _CONCEPTS)
DECOYS = frozenset(name for name, _ in _CONCEPTS[: next(i for i, one in enumerate(_CONCEPTS) if one[0] == "start")])


@functools.lru_cache(4096)
def concept(label: str) -> str:
    """Return the concept named by a label in plain lower case; empty if unknown.

    Examples
    --------
    >>> concept("sensor natural frequency"), concept("sampling rate"), concept("number of lines")
    ('natural frequency', 'rate', 'number of')
    """
    # A bilingual label may name it in either language.
    label = label[:200]
    for name, pattern in _COMPILED:
        if pattern.search(label):
            return name
    return ""
