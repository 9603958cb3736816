"""The mean of networks that are relatives, and the reading of a model that ships."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from capture.recognise.acoustic import Layer, Network, model_bytes
from capture.training.average import mean, preferring_silence
from capture.training.model_file import affine_layers, read, width_of, write

SHIPPED = Path(__file__).parents[1] / "grammars" / "en" / "model" / "am" / "final.mdl"


def network(seed: int) -> Network:
    """Two hidden layers and an output with drawn weights."""
    draw = np.random.default_rng(seed)
    shapes = (((-1, 0, 1), 40, 8), ((-3, 0), 8, 6), ((0,), 6, 40))
    return Network(
        tuple(
            Layer(
                offsets,
                draw.normal(size=(out, wide * len(offsets))).astype("f4"),
                draw.normal(size=out).astype("f4"),
                out != 40,
            )
            for offsets, wide, out in shapes
        )
    )


def louder_inside(original: Network) -> Network:
    """The same function, though the first hidden layer's units are three times as large."""
    first, second, last = original.layers
    return replace(
        original,
        layers=(
            replace(first, weight=first.weight * 3, bias=first.bias * 3),
            replace(second, weight=second.weight / 3),
            last,
        ),
    )


def test_units_of_another_size_do_not_count_more() -> None:
    """A network and the same one at another scale inside have the first as their mean."""
    original = network(1)
    for layer, averaged in zip(
        original.layers, mean([original, louder_inside(original)]).layers, strict=True
    ):
        assert averaged.weight == pytest.approx(layer.weight, rel=1e-5)
        assert averaged.bias == pytest.approx(layer.bias, rel=1e-5)


def test_the_mean_lies_between() -> None:
    """The output layer, which has no scale of its own, is the plain mean."""
    one, other = network(1), network(1)
    *hidden, last = other.layers
    other = replace(other, layers=(*hidden, replace(last, weight=-last.weight)))
    assert np.abs(mean([one, other]).layers[-1].weight).max() == pytest.approx(0, abs=1e-6)


def test_strangers_have_no_mean() -> None:
    """Networks of different shapes are refused, as are hidden layers that are not cut off."""
    one = network(1)
    with pytest.raises(ValueError, match="different shapes"):
        mean([one, replace(one, layers=one.layers[:-1])])
    open_ended = replace(one, layers=(replace(one.layers[0], relu=False), *one.layers[1:]))
    with pytest.raises(ValueError, match="not cut off"):
        mean([open_ended, open_ended])


def test_a_written_model_is_read_back() -> None:
    """Biases come out of the file as they went in, weights to half a step of 65,535."""
    written = network(2)
    read = affine_layers(model_bytes(written))
    assert len(read) == len(written.layers)
    for (weight, bias), layer in zip(read, written.layers, strict=True):
        assert np.abs(weight - layer.weight).max() <= 0.51 * np.ptp(layer.weight) / 65_535
        assert np.array_equal(bias, layer.bias)


def test_a_layer_of_one_weight_is_written() -> None:
    """Where all weights are one number there is no span to divide, and it comes back."""
    made = network(2)
    first = replace(made.layers[0], weight=np.full_like(made.layers[0].weight, 0.25))
    written = replace(made, layers=(first, *made.layers[1:]))
    assert (affine_layers(model_bytes(written))[0][0] == 0.25).all()


def test_what_is_averaged_can_be_used(tmp_path: Path) -> None:
    """The mean of a model file and of the arrays behind it is written as those arrays."""
    original = network(3)
    offsets = [layer.offsets for layer in original.layers]
    write(original, tmp_path / "acoustic.npz", {"seed": 3})
    (tmp_path / "final.mdl").write_bytes(model_bytes(original))
    both = [read(tmp_path / name, offsets) for name in ("final.mdl", "acoustic.npz")]
    write(mean(both), tmp_path / "mean.npz", {})
    for made, layer in zip(
        read(tmp_path / "mean.npz", offsets).layers, original.layers, strict=True
    ):
        assert np.abs(made.weight - layer.weight).max() <= 1e-4 * np.ptp(layer.weight)


def test_the_shipped_model_is_read() -> None:
    """Seven layers; its hidden ones are 352 wide, as its card says."""
    assert len(affine_layers(SHIPPED.read_bytes())) == 7
    assert width_of(SHIPPED) == 352


def test_a_preference_for_silence_moves_no_other_score() -> None:
    """Only the first of the 40 scores is raised, and the network it was made from stays."""
    original = network(1)
    before = original.layers[-1].bias.copy()
    raised = preferring_silence(original, 1.5)
    gained = raised.layers[-1].bias - before
    assert gained[0] == pytest.approx(1.5)
    assert not gained[1:].any()
    assert np.array_equal(original.layers[-1].bias, before)
    assert raised.layers[:-1] == original.layers[:-1]
