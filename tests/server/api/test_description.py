"""The API is what its own description says: whatever that allows, and what it does not, is answered and never breaks."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis.checks import not_a_server_error
from schemathesis.generation import GenerationMode
from schemathesis.specs.openapi.checks import content_type_conformance, response_schema_conformance

from fieldkit.access import BASE as OTHER_BASE
from fieldkit.access import LEAD, Access
from fieldkit.base import Base
from fieldkit.server import create_app

CHECKS = [not_a_server_error, content_type_conformance, response_schema_conformance]
EXAMPLES = 12  # of each operation and kind


@pytest.mark.parametrize("mode", list(GenerationMode))
@pytest.mark.parametrize("role", [LEAD, OTHER_BASE])
def test_whatever_is_sent_is_answered(base: Base, access: Access, role: str, mode: GenerationMode) -> None:
    token = access.devices.pair(access.devices.invite(role), "phone", "10.0.0.1")[1]
    described = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", create_app(base, access))
    operations = [found.ok() for found in described.get_all_operations()]
    headers = {"Authorization": f"Bearer {token}", "Accept-Encoding": "identity"}  # the checks unpack nothing
    for operation in operations:
        _try(operation.as_strategy(generation_mode=mode), headers)
    assert len(operations) >= 10


def _try(cases: Any, headers: dict[str, str]) -> None:
    @given(case=cases)
    @settings(max_examples=EXAMPLES, phases=[Phase.generate], suppress_health_check=list(HealthCheck))
    def answered(case: Any) -> None:
        case.call_and_validate(checks=CHECKS, headers=headers)

    with suppress(Unsatisfiable):  # what takes nothing can be given nothing wrong
        answered()
