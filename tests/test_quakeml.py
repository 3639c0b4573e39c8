"""QuakeML 1.2, basic event description (Euchner & Schorlemmer, 2013; https://quake.ethz.ch/quakeml), from memory.

No package of the registries carries the published schema, so the elements of each type are written down here in the
order of the specification's tables, with their types and how often they may come. Elements that stand for objects with
an identifier of their own may come in any order behind the others.
"""

from __future__ import annotations

import math
import re
from xml.etree import ElementTree

import numpy as np
import pytest

from benchmarks.events import reading_of, simulate
from strongmotion.event import events_in, study, to_quakeml

BED = "{http://quakeml.org/xmlns/bed/1.2}"

WORDS = {
    "EventType": "earthquake|not existing|not reported|anthropogenic event|explosion|other event",
    "DepthType": "from location|from moment tensor inversion|from modeling of broad-band P waveforms|constrained by "
    "depth phases|constrained by direct phases|constrained by depth and direct phases|operator assigned|other",
    "EvaluationMode": "manual|automatic",
    "EvaluationStatus": "preliminary|confirmed|reviewed|final|rejected",
    "UncertaintyDescription": "horizontal uncertainty|uncertainty ellipse|confidence ellipsoid",
    "PickOnset": "emergent|impulsive|questionable",
    "PickPolarity": "positive|negative|undecidable",
}

REFERENCE = r"(smi|quakeml):[\w\d][\w\d\-.*()_~']{2,}/[\w\d\-.*()_~'][\w\d\-.*()+?_~'=,;#/&]*"

SIMPLE = {
    "string": r"[\s\S]*",
    "author": r"[\s\S]{0,128}",
    "integer": r"\d+",
    "double": r"[+-]?\d+(\.\d+)?([eE][+-]?\d+)?",
    "dateTime": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z?",
    "ResourceReference": REFERENCE,
    **{name: "|".join(re.escape(word) for word in words.split("|")) for name, words in WORDS.items()},
}

# Name, type, and how often: ? none or one, 1 just one, * any number.
TYPES = {
    "EventParameters": "comment Comment *; event Event *; description string ?; creationInfo CreationInfo ?",
    "Event": "preferredOriginID ResourceReference ?; preferredMagnitudeID ResourceReference ?; "
    "preferredFocalMechanismID ResourceReference ?; type EventType ?; typeCertainty string ?; "
    "description EventDescription *; comment Comment *; creationInfo CreationInfo ?",
    "Comment": "text string 1; creationInfo CreationInfo ?",
    "CreationInfo": "agencyID string ?; agencyURI ResourceReference ?; author author ?; "
    "authorURI ResourceReference ?; creationTime dateTime ?; version string ?",
    "RealQuantity": "value double 1; uncertainty double ?; lowerUncertainty double ?; upperUncertainty double ?; "
    "confidenceLevel double ?",
    "TimeQuantity": "value dateTime 1; uncertainty double ?; lowerUncertainty double ?; upperUncertainty double ?; "
    "confidenceLevel double ?",
    "Pick": "time TimeQuantity 1; waveformID WaveformStreamID 1; filterID ResourceReference ?; "
    "methodID ResourceReference ?; horizontalSlowness RealQuantity ?; backazimuth RealQuantity ?; "
    "slownessMethodID ResourceReference ?; onset PickOnset ?; phaseHint string ?; polarity PickPolarity ?; "
    "evaluationMode EvaluationMode ?; evaluationStatus EvaluationStatus ?; comment Comment *; "
    "creationInfo CreationInfo ?",
    "Origin": "time TimeQuantity 1; longitude RealQuantity 1; latitude RealQuantity 1; depth RealQuantity ?; "
    "depthType DepthType ?; methodID ResourceReference ?; earthModelID ResourceReference ?; quality OriginQuality ?; "
    "evaluationMode EvaluationMode ?; evaluationStatus EvaluationStatus ?; originUncertainty OriginUncertainty ?; "
    "comment Comment *; creationInfo CreationInfo ?",
    "OriginQuality": "associatedPhaseCount integer ?; usedPhaseCount integer ?; associatedStationCount integer ?; "
    "usedStationCount integer ?; depthPhaseCount integer ?; standardError double ?; azimuthalGap double ?; "
    "secondaryAzimuthalGap double ?; groundTruthLevel string ?; maximumDistance double ?; minimumDistance double ?; "
    "medianDistance double ?",
    "OriginUncertainty": "horizontalUncertainty double ?; minHorizontalUncertainty double ?; "
    "maxHorizontalUncertainty double ?; azimuthMaxHorizontalUncertainty double ?; "
    "preferredDescription UncertaintyDescription ?; confidenceLevel double ?",
    "Arrival": "pickID ResourceReference 1; phase string 1; timeCorrection double ?; azimuth double ?; "
    "distance double ?; takeoffAngle RealQuantity ?; timeResidual double ?; horizontalSlownessResidual double ?; "
    "backazimuthResidual double ?; timeWeight double ?; earthModelID ResourceReference ?; comment Comment *; "
    "creationInfo CreationInfo ?",
    "Magnitude": "stationMagnitudeContribution StationMagnitudeContribution *; mag RealQuantity 1; type string ?; "
    "stationCount integer ?; azimuthalGap double ?; originID ResourceReference ?; methodID ResourceReference ?; "
    "evaluationMode EvaluationMode ?; evaluationStatus EvaluationStatus ?; comment Comment *; "
    "creationInfo CreationInfo ?",
    "StationMagnitudeContribution": "stationMagnitudeID ResourceReference 1; residual double ?; weight double ?",
    "StationMagnitude": "originID ResourceReference ?; mag RealQuantity 1; type string ?; "
    "amplitudeID ResourceReference ?; methodID ResourceReference ?; waveformID WaveformStreamID ?; comment Comment *; "
    "creationInfo CreationInfo ?",
    "WaveformStreamID": "",
}

OBJECTS = {
    "Event": {"pick": "Pick", "origin": "Origin", "magnitude": "Magnitude", "stationMagnitude": "StationMagnitude"},
    "Origin": {"arrival": "Arrival"},
}
IDENTIFIED = {"EventParameters", "Event", "Pick", "Origin", "Arrival", "Magnitude", "StationMagnitude"}
CODES = {"networkCode": (True, 8), "stationCode": (True, 8), "locationCode": (False, 8), "channelCode": (False, 8)}


def faults(element, kind, where=""):
    """Return what is wrong with an element of a type, and with all that is in it."""
    where = f"{where}/{element.tag.removeprefix(BED)}"
    if kind in SIMPLE:
        sound = re.fullmatch(SIMPLE[kind], element.text or "") and not len(element) and not element.attrib
        return [] if sound else [f"{where}: {element.text!r} is no {kind}"]
    found = []
    attributes = {"publicID"} if kind in IDENTIFIED else set(CODES) if kind == "WaveformStreamID" else set()
    found += [f"{where}: attribute {name}" for name in set(element.attrib) - attributes]
    if kind in IDENTIFIED and not re.fullmatch(REFERENCE, element.attrib.get("publicID", "")):
        found.append(f"{where}: publicID {element.attrib.get('publicID')!r}")
    if kind == "WaveformStreamID":
        for name, (required, longest) in CODES.items():
            code = element.attrib.get(name)
            if (code is None and required) or not len(code or "") <= longest:
                found.append(f"{where}: {name} {code!r}")
    rules = [tuple(rule.split()) for rule in TYPES[kind].split(";") if rule.strip()]
    order = [name for name, _, _ in rules]
    of = {name: its for name, its, _ in rules} | OBJECTS.get(kind, {})
    names = [child.tag.removeprefix(BED) for child in element]
    found += [f"{where}: unknown element {name}" for name in names if name not in of]
    plain = [order.index(name) for name in names if name in order]
    if plain != sorted(plain):
        found.append(f"{where}: the order is {', '.join(name for name in names if name in order)}")
    objects = [at for at, name in enumerate(names) if name in OBJECTS.get(kind, {})]
    if objects and any(name in order for name in names[objects[0] :]):
        found.append(f"{where}: objects stand before values")
    for name, _, often in rules:
        count = names.count(name)
        if (often == "1" and count != 1) or (often == "?" and count > 1):
            found.append(f"{where}: {count} of {name}")
    for child, name in zip(element, names, strict=True):
        if name in of:
            found += faults(child, of[name], where)
    return found


def faults_of(text):
    """Return what is wrong with a document: types, order, numbers, identifiers and references."""
    root = ElementTree.fromstring(text)
    assert root.tag == "{http://quakeml.org/xmlns/quakeml/1.2}quakeml"
    (parameters,) = root
    found = faults(parameters, "EventParameters")
    ids = [element.attrib["publicID"] for element in root.iter() if "publicID" in element.attrib]
    if len(ids) != len(set(ids)):
        found.append("an identifier comes twice")
    for tag in ("pickID", "originID", "preferredOriginID", "preferredMagnitudeID", "stationMagnitudeID"):
        found += [f"{tag} {e.text} is nowhere" for e in root.iter(f"{BED}{tag}") if e.text not in ids]
    return found


def simulated(number, stations=20):
    event = simulate(55, number)
    rng = np.random.default_rng([55, number])
    return [reading_of(event, index, rng) for index in range(min(stations, len(event.stations)))]


@pytest.mark.parametrize("number", range(6))
def test_every_event_is_written_as_the_standard_says(number):
    for event in events_in(simulated(number, 8)):
        assert faults_of(to_quakeml(event)) == []


def test_one_station_is_written_as_the_standard_says():
    reading = next(r for r in simulated(1) if r.arrivals.lag is not None)
    text = to_quakeml(study([reading]))
    assert faults_of(text) == []
    assert "<origin" not in text


@pytest.mark.parametrize(
    ("pattern", "by", "fault"),
    [
        (r"<phaseHint>P</phaseHint>", "", None),
        (r"(<phaseHint>\w</phaseHint>)\s*(<evaluationMode>automatic</evaluationMode>)", r"\2\1", "the order is"),
        (r"<depthType>[\w ]+</depthType>", "<depthType>guess</depthType>", "no DepthType"),
        (r"<usedPhaseCount>\d+<", "<usedPhaseCount>4.5<", "no integer"),
        (r"<phase>\w</phase>", "", "0 of phase"),
        (r'stationCode="\w+"', 'stationCode="LONGERTHANIS"', "stationCode"),
        (r"<type>earthquake</type>", "<type>earthquake</type><kind>x</kind>", "unknown element kind"),
        (r"<originID>[^<]+<", "<originID>smi:local/none/there<", "is nowhere"),
        (r'publicID="smi:', 'publicID="', "publicID"),
    ],
)
def test_the_table_finds_faults(pattern, by, fault):
    event = next(
        e for e in (events_in(simulated(n, 6))[0] for n in (1, 3, 4)) if e.location.point is not None and e.size
        and math.isfinite(e.size.value) and not e.size.at_least
    )  # fmt: skip
    text = to_quakeml(event)
    changed = re.sub(pattern, by, text, count=1)
    assert changed != text
    found = faults_of(changed)
    assert (found == []) if fault is None else any(fault in one for one in found)
