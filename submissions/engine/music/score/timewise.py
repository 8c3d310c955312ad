"""A timewise score turned partwise: the same measures, sorted by part."""

from xml.etree.ElementTree import Element

WRAPPERS = ("measure", "part")


def to_partwise(root: Element) -> Element:
    """A score-partwise element with the header and the measures of a score-timewise one."""
    out = Element("score-partwise", dict(root.attrib))
    parts: dict[str, Element] = {}
    for child in root:
        if child.tag != "measure":
            out.append(child)
            continue
        for part in child.iterfind("part"):
            part_id = part.get("id", "")
            home = parts.setdefault(part_id, Element("part", {"id": part_id}))
            measure = Element("measure", dict(child.attrib))
            measure.extend(list(part))
            home.append(measure)
    out.extend(parts.values())
    return out
