"""What scanimage prints about a device, read; checked on the real program and on its grammar."""

import pytest

from scanqa.capture.device import Option, list_devices, parse_options, read_options
from scanqa.capture.faults import ScanFailed
from scanqa.errors import BadOption
from tests.capture.conftest import configure


def test_devices_of_the_test_backend_are_listed(tmp_path, monkeypatch):
    monkeypatch.setenv("SANE_CONFIG_DIR", str(configure(tmp_path, devices=2)))
    assert [(d.name, d.model) for d in list_devices()] == [
        ("test:0", "frontend-tester"),
        ("test:1", "frontend-tester"),
    ]


def test_options_of_the_test_backend_as_its_manual_says(sane):
    options = read_options(sane)  # sane-test(5): modes, depths and ranges of its configuration
    assert options["mode"].choices == ("Gray", "Color")
    assert options["depth"].numbers == [1, 8, 16]
    resolution = options["resolution"]
    assert (resolution.low, resolution.high, resolution.step, resolution.unit) == (
        1,
        1200,
        1,
        "dpi",
    )
    assert options["x"].high == 60
    assert options["test-picture"].value == "Solid white"
    assert options["hand-scanner"].choices == ("yes", "no")
    assert not options["three-pass"].active
    assert options["gamma-table"].active  # "advanced" is no obstacle


def test_values_that_are_set_show_in_the_options(sane):
    options = read_options(sane, (("mode", "Color"), ("depth", "16"), ("x", "40")))
    assert (options["mode"].value, options["depth"].value, options["x"].value) == (
        "Color",
        "16",
        "40",
    )


@pytest.mark.parametrize(
    ("line", "option"),
    [
        (
            "    --resolution auto|75|150|300dpi [75]",
            Option("resolution", ("75", "150", "300"), unit="dpi", value="75"),
        ),
        (
            "    --brightness -100..100% (in steps of 1) [0] [advanced]",
            Option("brightness", (), -100, 100, 1, "%", "0"),
        ),
        (
            "    --gamma 0.299988..5 (in steps of 0) [1.79999]",
            Option("gamma", (), 0.299988, 5, 0, "", "1.79999"),
        ),
        (
            "    --mode Black & White|Gray[Fast]|24bit Color [24bit Color]",
            Option("mode", ("Black & White", "Gray[Fast]", "24bit Color"), value="24bit Color"),
        ),
        (
            "    --lamp[=(auto|yes|no)] [yes] [hardware]",
            Option("lamp", ("yes", "no"), value="yes", active=False),
        ),
        (
            "    --serial <string> [AB 12] [read-only]",
            Option("serial", value="AB 12", active=False),
        ),
        ("    -x 0..216.069mm [216.069]", Option("x", (), 0, 216.069, 0, "mm", "216.069")),
        (
            "    --table 0..255,... (in steps of 1) [inactive]",
            Option("table", (), 0, 255, 1, active=False),
        ),
    ],
)
def test_every_form_of_a_line_is_read(line, option):
    """The forms that the test backend of sane-backends 1.1.1 prints, with made-up values."""
    assert parse_options(line)[option.name] == option


def test_scanimages_own_options_are_never_taken_for_the_devices():
    text = "    --output-file <string> [x]\n    --batch[=(yes|no)] [no]\n    --mode Gray [Gray]\n"
    assert list(parse_options(text)) == ["mode"]


@pytest.mark.parametrize("number", [75, 150, 151])
def test_a_range_offers_its_steps_only(number):
    assert Option("resolution", (), 50, 1200, 25).offers(number) == (number != 151)


@pytest.mark.parametrize("name", ["", "   ", "a\nb", "a\0b", "x" * 400])
def test_names_that_no_device_has_are_refused(name):
    with pytest.raises(BadOption):
        read_options(name)


def test_an_absent_device_is_a_sentence(sane):
    with pytest.raises(ScanFailed, match=r"cannot be reached .*; check cable, power"):
        read_options("test:7")


def test_without_scanimage_the_message_says_what_to_install(monkeypatch, tmp_path):
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(BadOption, match=r"apt install sane-utils.*--from-folder"):
        list_devices()
