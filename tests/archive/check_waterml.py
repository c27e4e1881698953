#!/usr/bin/python3
# SPDX-License-Identifier: MIT
"""Does a WaterML file keep what the standard asks for beyond well-formed XML?

    check_waterml.py NAME.xml

Order of elements, unique identifiers, references that lead somewhere, units, interpolation, reasons for nil values. Where
the schema is at hand, its place can be given in WATERML_SCHEMA, and xmllint is asked as well. Exit status 0 when all is
well, else 1 with a list."""
import os
import re
import subprocess
import sys
import xml.etree.ElementTree as ElementTree

NAMESPACES = {
    "wml2": "http://www.opengis.net/waterml/2.0",
    "gml": "http://www.opengis.net/gml/3.2",
    "om": "http://www.opengis.net/om/2.0",
    "sa": "http://www.opengis.net/sampling/2.0",
    "sams": "http://www.opengis.net/samplingSpatial/2.0",
    "gmd": "http://www.isotc211.org/2005/gmd",
    "xlink": "http://www.w3.org/1999/xlink",
    "xsi": "http://www.w3.org/2001/XMLSchema-instance",
}
SEQUENCES = {
    "wml2:Collection": "gml:description gml:identifier wml2:metadata wml2:temporalExtent wml2:observationMember",
    "wml2:DocumentMetadata": "wml2:generationDate wml2:version",
    "om:OM_Observation": "om:type om:metadata om:phenomenonTime om:resultTime om:procedure om:observedProperty "
                         "om:featureOfInterest om:result",
    "wml2:ObservationMetadata": "gmd:contact gmd:dateStamp gmd:identificationInfo wml2:sampledMedium",
    "wml2:MonitoringPoint": "gml:identifier gml:name sa:sampledFeature sams:shape wml2:timeZone",
    "wml2:MeasurementTimeseries": "wml2:metadata wml2:defaultPointMetadata wml2:point",
    "wml2:MeasurementTimeseriesMetadata": "wml2:temporalExtent wml2:cumulative wml2:maxGapPeriod",
    "wml2:DefaultTVPMeasurementMetadata": "wml2:quality wml2:uom wml2:interpolationType",
    "wml2:MeasurementTVP": "wml2:time wml2:value wml2:metadata",
    "wml2:TVPMeasurementMetadata": "wml2:quality wml2:nilReason",
}
OPTIONAL = {"wml2:maxGapPeriod", "wml2:metadata", "wml2:quality", "wml2:nilReason"}
MANY = {"wml2:observationMember", "wml2:point"}
QUALITIES = {"good", "suspect", "estimate", "poor", "unchecked"}
TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")


def name_of(element):
    namespace, _, local = element.tag[1:].partition("}")
    return next((prefix for prefix, uri in NAMESPACES.items() if uri == namespace), namespace) + ":" + local


def attribute(element, prefix, name):
    return element.get("{%s}%s" % (NAMESPACES[prefix], name))


def check_sequences(root):
    for element in root.iter():
        sequence = SEQUENCES.get(name_of(element))
        if not sequence:
            continue
        pattern = "".join("(?:%s )%s" % (name, "*" if name in MANY else "?" if name in OPTIONAL else "")
                          for name in sequence.split())
        children = "".join(name_of(child) + " " for child in element)
        if not re.fullmatch(pattern, children):
            yield "%s holds: %s" % (name_of(element), children[:200])


def check_identifiers(root):
    ids = [attribute(element, "gml", "id") for element in root.iter() if attribute(element, "gml", "id")]
    if len(set(ids)) != len(ids):
        yield "a gml:id stands twice"
    for identifier in ids:
        if not re.fullmatch(r"[A-Za-z_][A-Za-z0-9._-]*", identifier):
            yield "gml:id %r" % identifier
    for element in root.iter():
        link = attribute(element, "xlink", "href")
        if link and link.startswith("#") and link[1:] not in ids:
            yield "%s points to %s, which is not there" % (name_of(element), link)
        if link and not link.startswith("#") and not attribute(element, "xlink", "title"):
            yield "%s: a link without a title" % name_of(element)
    for name in ("om:OM_Observation", "gml:TimePeriod", "gml:TimeInstant", "gml:Point", "wml2:MonitoringPoint"):
        for element in root.iterfind(".//" + name, NAMESPACES):
            if not attribute(element, "gml", "id"):
                yield "%s has no gml:id" % name


def check_points(root):
    for point in root.iterfind(".//wml2:MeasurementTVP", NAMESPACES):
        time, value = point.find("wml2:time", NAMESPACES), point.find("wml2:value", NAMESPACES)
        if not TIME.fullmatch(time.text):
            yield "time %r has no zone" % time.text
        is_nil = attribute(value, "xsi", "nil") == "true"
        if is_nil != (point.find(".//wml2:nilReason", NAMESPACES) is not None) or is_nil != (value.text is None):
            yield "%s: nil and its reason do not go together" % time.text
        if not is_nil and not re.fullmatch(r"-?\d+(\.\d+)?", value.text):
            yield "%s: value %r" % (time.text, value.text)
    for quality in root.iterfind(".//wml2:quality", NAMESPACES):
        base, _, word = attribute(quality, "xlink", "href").rpartition("/")
        if base != "http://www.opengis.net/def/waterml/2.0/quality" or word not in QUALITIES:
            yield "quality %s/%s" % (base, word)
    for uom in root.iterfind(".//wml2:uom", NAMESPACES):
        if not uom.get("code") or " " in uom.get("code"):
            yield "unit %r" % uom.get("code")


def check_period(root):
    for period in root.iterfind(".//gml:TimePeriod", NAMESPACES):
        ends = [element.text for element in period]
        if len(ends) != 2 or not all(TIME.fullmatch(end) for end in ends) or ends[0] > ends[1]:
            yield "period %s" % ends
    if root.find(".//gml:pos", NAMESPACES) is None or root.find(".//wml2:zoneOffset", NAMESPACES) is None:
        yield "the station has no position or no zone"
    elif not re.fullmatch(r"[+-]\d\d:\d\d", root.find(".//wml2:zoneOffset", NAMESPACES).text):
        yield "zone of the station"


def check_schema(path):
    schema = os.environ.get("WATERML_SCHEMA")
    if schema:
        run = subprocess.run(["xmllint", "--nonet", "--noout", "--schema", schema, path], capture_output=True, text=True,
                             check=False)
        if run.returncode:
            yield run.stderr[:2000]


def check(path):
    root = ElementTree.parse(path).getroot()
    for part in (check_sequences, check_identifiers, check_points, check_period):
        yield from part(root)
    yield from check_schema(path)


if __name__ == "__main__":
    found = list(check(sys.argv[1]))
    for problem in found:
        print(problem, file=sys.stderr)
    sys.exit(1 if found else 0)
