"""MIX 2.0 of a page: the XML form of ANSI/NISO Z39.87, technical metadata of still images.

Only what is known is written; every element of the schema is optional.
"""

from __future__ import annotations

from fractions import Fraction

from lxml import etree

from scanqa.archive.elements import Part, document
from scanqa.model.job_record import JobFile, JobRecord

NAMESPACE = "http://www.loc.gov/mix/v20"
FORMATS = {"tiff": "image/tiff", "png": "image/png", "jpeg": "image/jpeg"}


def mix(file: JobFile, record: JobRecord, *, record_uri: str) -> bytes:
    """The entry of a page.

    Parameters
    ----------
    file : JobFile
        The page.
    record : JobRecord
        Of its job: scanner, software.
    record_uri : str
        Where the job's record lies, from the entry.
    """
    parts: list[Part] = [
        ("BasicDigitalObjectInformation", _object(file)),
        ("BasicImageInformation", [("BasicImageCharacteristics", _image(file))]),
        ("ImageCaptureMetadata", _capture(file, record)),
        (
            "ImageAssessmentMetadata",
            [
                ("SpatialMetrics", _sampling(file)),
                ("ImageColorEncoding", _encoding(file)),
                ("TargetData", [("performanceData", record_uri)]),
            ],
        ),
    ]
    return document(etree.QName(NAMESPACE, "mix"), parts)


def _image(file: JobFile) -> list[Part]:
    space = "RGB" if file.channels == 3 else "BlackIsZero"
    return [
        ("imageWidth", str(file.width_px)),
        ("imageHeight", str(file.height_px)),
        ("PhotometricInterpretation", [("colorSpace", space)]),
    ]


def _sampling(file: JobFile) -> list[Part]:
    """Empty where the file states no resolution."""
    if file.dpi is None:
        return []
    return [
        ("samplingFrequencyPlane", "object plane"),
        ("samplingFrequencyUnit", "in."),
        ("xSamplingFrequency", _ratio(file.dpi[0])),
        ("ySamplingFrequency", _ratio(file.dpi[1])),
    ]


def _encoding(file: JobFile) -> list[Part]:
    bits: list[Part] = [("bitsPerSampleValue", str(file.bits)) for _ in range(file.channels)]
    return [
        ("BitsPerSample", [*bits, ("bitsPerSampleUnit", "integer")]),
        ("samplesPerPixel", str(file.channels)),
    ]


def _object(file: JobFile) -> list[Part]:
    return [
        (
            "ObjectIdentifier",
            [("objectIdentifierType", "file name"), ("objectIdentifierValue", file.file)],
        ),
        ("fileSize", str(file.bytes)),
        ("FormatDesignation", [("formatName", FORMATS[file.format])]),
        ("Fixity", [("messageDigestAlgorithm", "SHA-256"), ("messageDigest", file.sha256)]),
    ]


def _capture(file: JobFile, record: JobRecord) -> list[Part]:
    return [
        (
            "GeneralCaptureInformation",
            [
                ("dateTimeCreated", file.modified),
                ("captureDevice", "reflection print scanner"),
            ],
        ),
        (
            "ScannerCapture",
            [("ScannerModel", [("scannerModelName", record.scanner)])],
        ),
    ]


def _ratio(value: float) -> list[Part]:
    exact = Fraction(value).limit_denominator(10_000)
    return [("numerator", str(exact.numerator)), ("denominator", str(exact.denominator))]
