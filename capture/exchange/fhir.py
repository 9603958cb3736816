"""Visits as a FHIR R4 Bundle (release 4.0.1) of Observations, with units of UCUM.

Codes of LOINC stand only where one surely exists: body weight 29463-7 and body fat percentage
41982-0. LOINC is not shipped here to look up codes for single folds, so folds, their sum and
density have codes of our own, which the system `urn:foldcall:codes` marks as local.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from capture.composition.client import ClientDefaults
from capture.composition.results import SiteResult, VisitResult
from capture.composition.uncertainty import one_decimal
from capture.report.record import VisitRecord, record_of
from capture.report.results import AS_USUAL, fold_sum, result_of

LOCAL = "urn:foldcall:codes"
LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
CATEGORY = {
    "coding": [
        {
            "system": "http://terminology.hl7.org/CodeSystem/observation-category",
            "code": "exam",
            "display": "Exam",
        }
    ]
}
Resource = dict[str, Any]


def bundle(
    people: Mapping[str, Iterable[Mapping[str, Any]]], visits: Iterable[Mapping[str, Any]]
) -> Resource:
    """The collection of everyone and every value that counts."""
    resources = [
        *(_patient(row) for row in people["clients"]),
        *(_practitioner(row) for row in people["assessors"]),
    ]
    choices = _choices(people)
    for visit in visits:
        defaults = choices.get(visit["client_id"], AS_USUAL)
        resources.extend(_observations(record_of(visit), defaults))
    entries = [{"fullUrl": f"urn:uuid:{each['id'][:36]}", "resource": each} for each in resources]
    for entry, resource in zip(entries, resources, strict=True):
        if resource["resourceType"] == "Observation":
            entry["fullUrl"] = f"{LOCAL}:observation:{resource['id']}"
    return {"resourceType": "Bundle", "type": "collection", "entry": entries}


def _choices(people: Mapping[str, Iterable[Mapping[str, Any]]]) -> dict[str, ClientDefaults]:
    """What each client's results are computed by; what is hidden from one person stays hidden."""
    known = {row["id"]: row for row in people["clients"]}
    hidden = {id_ for id_, row in known.items() if not row["show_fat_percent"]}
    links = [{row["client_id"], row["same_as"]} for row in people["client_links"]]
    for _ in links:
        for pair in links:
            if pair & hidden:
                hidden |= pair
    return {
        id_: ClientDefaults.as_far_as_known({**row, "show_fat_percent": id_ not in hidden})
        for id_, row in known.items()
    }


def _patient(client: Mapping[str, Any]) -> Resource:
    found: Resource = {
        "resourceType": "Patient",
        "id": client["id"],
        "name": [{"text": client["name"]}],
        "gender": client["sex"],
    }
    if client["birth_date"]:
        found["birthDate"] = client["birth_date"]
    return found


def _practitioner(assessor: Mapping[str, Any]) -> Resource:
    return {
        "resourceType": "Practitioner",
        "id": assessor["id"],
        "name": [{"text": assessor["name"]}],
    }


def _observations(visit: VisitRecord, defaults: ClientDefaults) -> list[Resource]:
    result = result_of(visit, defaults)
    if result is None:
        return []
    found = [_fold(visit, site) for site in result.sites]
    added = fold_sum(visit)
    if added.sum_mm is not None:
        total = _observation(visit, "sum", "Sum of skinfolds", added.sum_mm, "mm", "mm")
        total["note"] = [{"text": "Sites: " + ", ".join(added.sites)}]
        found.append(total)
    if defaults.show_fat_percent:
        found.extend(_predicted(visit, result))
    weight = visit.plan.get("weight_kg")
    if isinstance(weight, int | float) and not isinstance(weight, bool):
        weighed = _observation(visit, "weight", "Body weight", float(weight), "kg", "kg")
        weighed["code"]["coding"] = [{"system": LOINC, "code": "29463-7", "display": "Body weight"}]
        found.append(weighed)
    return found


def _fold(visit: VisitRecord, site: SiteResult) -> Resource:
    name = site.site.replace("_", " ")
    code = f"skinfold-{site.site.replace('_', '-')}"
    found = _observation(
        visit, code, f"Skinfold thickness, {name}", site.settled.value_mm, "mm", "mm"
    )
    readings = ", ".join(f"{value / 10:.1f}" for value in site.readings_tenths_mm)
    found["note"] = [{"text": f"Readings {readings} mm; {site.settled.how.value}."}]
    return found


def _predicted(visit: VisitRecord, result: VisitResult) -> list[Resource]:
    found = []
    method = f"{result.equation.name} ({result.equation.source})"
    if result.density_g_cm3 is not None:
        density = _observation(
            visit, "density", "Body density, predicted", result.density_g_cm3, "g/cm3", "g/cm3", 4
        )
        density["method"] = {"text": method}
        found.append(density)
    if result.fat_percent is not None:
        fat = _observation(visit, "fat", "Body fat, predicted", result.fat_percent, "%", "%")
        fat["code"]["coding"].append(
            {"system": LOINC, "code": "41982-0", "display": "Percentage of body fat Measured"}
        )
        fat["method"] = {"text": method}
        if result.plain_range is not None:
            fat["note"] = [{"text": f"A prediction from skinfolds: {result.plain_range}."}]
        found.append(fat)
    return found


def _observation(
    visit: VisitRecord, code: str, title: str, value: float, unit: str, ucum: str, digits: int = 1
) -> Resource:
    return {
        "resourceType": "Observation",
        "id": f"{visit.id}-{code}"[:64],
        "identifier": [{"system": LOCAL, "value": f"{visit.id}/{code}"}],
        "status": "amended"
        if visit.amendments
        else ("final" if visit.is_signed else "preliminary"),
        "category": [CATEGORY],
        "code": {"coding": [{"system": LOCAL, "code": code, "display": title}], "text": title},
        "subject": {"reference": f"urn:uuid:{visit.client_id}"},
        "effectiveDateTime": visit.started_at,
        "performer": [{"reference": f"urn:uuid:{visit.assessor_id}"}],
        "valueQuantity": {
            # One rounding everywhere: a half goes up.
            "value": float(one_decimal(value)) if digits == 1 else round(value, digits),
            "unit": unit,
            "system": UCUM,
            "code": ucum,
        },
    }
