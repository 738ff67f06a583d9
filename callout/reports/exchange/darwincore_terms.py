"""The Darwin Core terms that the archive's tables use, in the order of their columns.

Source: TDWG, Darwin Core quick reference, http://rs.tdwg.org/dwc/.
"""

DWC = "http://rs.tdwg.org/dwc/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"
EVENT = (
    "eventID",
    "parentEventID",
    "eventType",
    "eventDate",
    "locationID",
    "locality",
    "decimalLatitude",
    "decimalLongitude",
    "geodeticDatum",
    "coordinateUncertaintyInMeters",
    "fieldNumber",
    "samplingProtocol",
    "sampleSizeValue",
    "sampleSizeUnit",
    "eventRemarks",
    "dynamicProperties",
)
OCCURRENCE = (
    "eventID",
    "occurrenceID",
    "basisOfRecord",
    "occurrenceStatus",
    "organismID",
    "scientificName",
    "taxonRank",
    "kingdom",
    "vernacularName",
    "verbatimIdentification",
    "vitality",
    "recordedBy",
    "eventDate",
)
FACT = (
    "eventID",
    "measurementID",
    "measurementType",
    "measurementValue",
    "measurementAccuracy",
    "measurementUnit",
    "measurementDeterminedBy",
    "measurementDeterminedDate",
    "measurementMethod",
    "measurementRemarks",
)
TABLES = {
    "event.csv": ("Event", EVENT),
    "occurrence.csv": ("Occurrence", OCCURRENCE),
    "measurementorfact.csv": ("MeasurementOrFact", FACT),
}
# Facts of a plot that have a term of their own, by the name in the survey.
PLOT_TERMS = {
    "site": "locality",
    "latitude": "decimalLatitude",
    "longitude": "decimalLongitude",
    "coordinate_uncertainty_m": "coordinateUncertaintyInMeters",
}
