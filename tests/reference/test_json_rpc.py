"""JSON-RPC against the examples of its specification.

Source: JSON-RPC 2.0 Specification (2013-01-04), sections 4, 5 and 7 (jsonrpc.org), read in public copies.
"""

import json

import pytest

from pattress.model.profile import JsonRpc
from pattress.reading.http import json_rpc_request, json_rpc_result
from pattress.wire.decode import UndecodableError


@pytest.mark.parametrize(
    ("params", "example"),
    [
        ([42, 23], '{"jsonrpc": "2.0", "method": "subtract", "params": [42, 23], "id": 1}'),
        (
            {"subtrahend": 23, "minuend": 42},
            '{"jsonrpc": "2.0", "method": "subtract", "params": {"subtrahend": 23, "minuend": 42}, "id": 1}',
        ),
    ],
)
def test_a_call_is_that_of_section_7(params: object, example: str) -> None:
    """The second example has id 3 in the specification; our calls have id 1, one on each connection at a time."""
    request = JsonRpc(path="/", method="subtract", params=params)  # type: ignore[arg-type]

    assert json.loads(json_rpc_request(request)) == json.loads(example)


def test_a_call_without_parameters_has_no_params_member() -> None:
    """Section 4: params may be omitted."""
    assert "params" not in json.loads(json_rpc_request(JsonRpc(path="/", method="get_data")))


def test_the_result_of_section_7_is_taken() -> None:
    assert json_rpc_result(b'{"jsonrpc": "2.0", "result": 19, "id": 1}') == 19


@pytest.mark.parametrize(
    ("answer", "complaint"),
    [
        (
            '{"jsonrpc": "2.0", "error": {"code": -32601, "message": "Method not found"}, "id": "1"}',
            'the call failed with code -32601: text "Method not found"',
        ),
        (
            '{"jsonrpc": "2.0", "error": {"code": -32700, "message": "Parse error"}, "id": null}',
            'the call failed with code -32700: text "Parse error"',
        ),
        (
            '{"jsonrpc": "2.0", "error": {"code": -32600, "message": "Invalid Request"}, "id": null}',
            'the call failed with code -32600: text "Invalid Request"',
        ),
        ('{"jsonrpc": "2.0", "result": 19, "id": 3}', "an answer to call 3, not to ours"),
        ('{"jsonrpc": "2.0", "id": 1}', "a JSON-RPC 2.0 answer with neither result nor error"),
        ('{"result": 19, "error": null, "id": 1}', "an object where a JSON-RPC 2.0 answer belongs"),
        ('[{"jsonrpc": "2.0", "result": 7, "id": "1"}]', "a list where a JSON-RPC 2.0 answer belongs"),
    ],
)
def test_what_is_no_result_is_refused(answer: str, complaint: str) -> None:
    with pytest.raises(UndecodableError) as caught:
        json_rpc_result(answer.encode())

    assert str(caught.value) == complaint
