"""Files of the networks are loaded only beside the manifest that describes them."""

from __future__ import annotations

from types import ModuleType

import pytest

from papernudge.digits_model import scores, seen, symbols
from papernudge.digits_model.files import network_of
from papernudge.vision.boards import printed

REFUSED = "is not the file its manifest describes; install papernudge again"


@pytest.mark.parametrize(
    ("runner", "name"),
    [
        (scores, "model"),
        (scores, "closer"),
        (scores, "notes"),
        (seen, "seen"),
        (symbols, "symbols"),
        (printed, "printed"),
    ],
)
def test_a_file_that_the_manifest_does_not_describe_is_refused(
    runner: ModuleType, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    another = {"sha256": "0" * 64}
    monkeypatch.setattr(
        runner, "manifest", lambda: {**another, "closer": another, "notes": another}
    )
    with pytest.raises(RuntimeError, match=f"^{name}.onnx {REFUSED}$"):
        scores.model_bytes(name) if runner is scores else runner.shipped.__wrapped__()


def test_a_file_that_it_describes_is_handed_out_whole() -> None:
    told = seen.manifest()
    assert len(network_of("papernudge.digits_model", "seen", told)) == told["bytes"]
