"""Messages: there and back for all that can be said, and nothing but a clear error for the rest."""

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungbench.errors import MessageError, OtherProtocol
from rungbench.link.framing import Frame
from rungbench.link.layout import READERS
from rungbench.link.messages import (
    IDENTITY,
    MAX_EDGES,
    REASONS,
    Answer,
    Arm,
    CableCode,
    Code,
    EdgeBlock,
    Event,
    EventKind,
    Health,
    Hello,
    Identity,
    KeepAlive,
    LadderSet,
    Message,
    Mode,
    Oscillator,
    Present,
    Reason,
    ResetCause,
    Rung,
    SampleBlock,
    SetMode,
    Setting,
    frame_bytes,
    new_deframer,
    pack,
    samples_per_block,
    unpack,
)

TICKS = st.integers(0, 2**48 - 1)
U16 = st.integers(0, 2**16 - 1)
U32 = st.integers(0, 2**32 - 1)
SETTINGS = st.builds(
    Setting,
    st.sampled_from(Rung),
    st.sampled_from(LadderSet),
    st.booleans(),
    st.booleans(),
    st.sampled_from(CableCode),
)


def subset(words: Any) -> st.SearchStrategy[Any]:
    """Some of the words, in their order."""
    return st.sets(st.sampled_from(words)).map(lambda s: tuple(w for w in words if w in s))


VERSIONS = st.tuples(*[st.integers(0, 255)] * 3).map(lambda parts: ".".join(map(str, parts)))
BYTES = st.integers(0, 255)
MILLIVOLTS = st.integers(-32768, 32767).map(lambda mv: mv / 1000)
IDENTITIES = st.builds(
    Identity,
    firmware=VERSIONS,
    board_id=st.text(st.characters(min_codepoint=33, max_codepoint=126), max_size=12),
    oscillator=st.sampled_from(Oscillator),
    reset_cause=st.sampled_from(ResetCause),
    modes=subset(Mode),
    rungs=subset(Rung),
    ladders=subset(LadderSet),
    cable_codes=subset(CableCode),
    can_bypass_diode=st.booleans(),
    can_open_pe=st.booleans(),
    simulated=st.booleans(),
    asked=st.booleans(),
    phases_sensed=st.integers(0, 3),
    edge_quantum_ticks=BYTES,
    converter_bits=BYTES,
    converter_low_v=MILLIVOLTS,
    converter_high_v=MILLIVOLTS,
    hold_c_s=U16,
    hold_d_s=U16,
)
PHASES = st.sampled_from([1, 2, 3])
EVENTS = st.one_of(
    st.builds(Event, TICKS, st.just(EventKind.SETTING_APPLIED), SETTINGS.map(Setting.packed), U32),
    st.builds(Event, TICKS, st.sampled_from([EventKind.MAINS_ON, EventKind.MAINS_OFF]), PHASES),
    st.builds(Event, TICKS, st.just(EventKind.INTERLOCK), st.integers(0, 1)),
    st.builds(
        Event,
        TICKS,
        st.sampled_from([EventKind.FELL_OPEN, EventKind.DISARMED]),
        st.sampled_from(Reason).map(REASONS.number),
    ),
)
HEALTHS = st.builds(
    Health,
    TICKS,
    U16,
    U16,
    U16,
    st.none() | st.integers(-400, 1250).map(lambda tenths: tenths / 10),
    st.booleans(),
    st.booleans(),
    SETTINGS,
    st.sampled_from(Mode),
    subset((1, 2, 3)),
)
PLAIN = st.one_of(
    IDENTITIES,
    EVENTS,
    HEALTHS,
    st.builds(Answer, BYTES, st.sampled_from(Code), U32),
    st.builds(Hello, st.just(1)),
    st.builds(Present, SETTINGS, U32),
    st.builds(SetMode, st.sampled_from(Mode)),
    st.just(KeepAlive()),
    st.just(Arm()),
)


def over_the_wire(message: Message) -> Message:
    (frame,) = new_deframer().feed(frame_bytes(message, 3))
    assert isinstance(frame, Frame)
    return unpack(frame)


@given(PLAIN)
def test_there_and_back(message: Message) -> None:
    assert over_the_wire(message) == message


@given(TICKS, U32, U16, st.sampled_from([8, 10]), st.data())
def test_samples_there_and_back(
    tick: int, index: int, interval: int, bits: int, data: st.DataObject
) -> None:
    counts = data.draw(
        st.lists(st.integers(0, 2**bits - 1), min_size=1, max_size=samples_per_block(bits))
    )
    sent = SampleBlock(data.draw(st.integers(0, 15)), tick, index, interval, bits, np.array(counts))
    got = over_the_wire(sent)
    assert isinstance(got, SampleBlock)
    assert got.counts.tolist() == counts
    assert not got.counts.flags.writeable
    assert [getattr(got, f.name) for f in dataclasses.fields(got)[:-1]] == [
        getattr(sent, f.name) for f in dataclasses.fields(sent)[:-1]
    ]


@given(TICKS, st.integers(0, 2**15 - 1), st.booleans(), st.lists(U16, min_size=1, max_size=116))
def test_edges_there_and_back(tick: int, index: int, rising: bool, offsets: list[int]) -> None:
    got = over_the_wire(EdgeBlock(tick, index, np.array(offsets, np.uint16), rising))
    assert isinstance(got, EdgeBlock)
    assert (got.tick, got.index, got.first_rising) == (tick, index, rising)
    assert got.times.tolist() == [tick + offset for offset in offsets]
    assert got.rising.tolist() == [rising == (n % 2 == 0) for n in range(len(offsets))]
    assert not got.offsets.flags.writeable


@given(st.integers(0, 255), st.binary(max_size=240))
def test_any_contents_give_a_message_or_a_clear_error(kind: int, payload: bytes) -> None:
    said = ""
    try:
        assert pack(unpack(Frame(kind, 0, payload)))[0] == kind
    except MessageError as error:
        said = str(error)
    assert not said or (said.endswith(".") and "update" in said)


@pytest.mark.parametrize("kind", sorted(READERS))
@pytest.mark.parametrize("change", [-1, 1])
def test_a_wrong_length_is_refused(kind: int, change: int) -> None:
    samples = SampleBlock(0, 0, 0, 832, 10, np.array([1, 2], np.uint16))
    known: list[Message] = [
        Identity("1.0.0", "X"),
        samples,
        EdgeBlock(0, 0, np.array([1, 2], np.uint16), True),
        Event(0, EventKind.ARMED, 1),
        Health(0),
        Answer(0, Code.ACCEPTED),
        Hello(),
        Present(Setting(Rung.B)),
        SetMode(Mode.OFF),
        KeepAlive(),
        Arm(),
    ]
    payload = next(pack(m)[1] for m in known if pack(m)[0] == kind)
    cut = payload[:change] if change < 0 else payload + b"\0"
    if not payload:
        cut = b"\1"  # nothing can be taken away from nothing
    with pytest.raises(MessageError, match="do not fit its layout"):
        unpack(Frame(kind, 0, cut))


def test_running_numbers_wrap_as_on_the_wire() -> None:
    edges = EdgeBlock(2**48 + 5, 2**15 + 6, np.array([0], np.uint16), False)
    got = over_the_wire(edges)
    assert isinstance(got, EdgeBlock)
    assert (got.tick, got.index, got.first_rising) == (5, 6, False)


def test_what_does_not_fit_is_refused_before_it_is_sent() -> None:
    long = np.zeros(samples_per_block(10) + 1, np.uint16)
    for message in (
        SampleBlock(0, 0, 0, 832, 10, long),
        EdgeBlock(0, 0, np.zeros(MAX_EDGES + 1, np.uint16), True),
        Identity("1.0.0", "more than twelve"),
        Answer(256, Code.ACCEPTED),
    ):
        with pytest.raises(ValueError, match=r"fit|exceed|longer"):
            pack(message)


@pytest.mark.parametrize(("version", "remedy"), [(0, "firmware"), (2, "update Rungbench")])
def test_another_version_says_which_side_to_update(version: int, remedy: str) -> None:
    _, payload = pack(Identity("3.4.5", "RB-7"))
    strange = bytes((version,)) + payload[1:16] + b"whatever a later version says"
    with pytest.raises(OtherProtocol) as caught:
        unpack(Frame(IDENTITY, 0, strange))
    assert "RB-7 (firmware 3.4.5)" in str(caught.value)
    assert remedy in str(caught.value)


def test_energising_is_c_and_d_only() -> None:
    # IEC 61851-1:2017, clause on vehicle states: mains may be on in C2 and D2 only.
    assert {rung for rung in Rung if Setting(rung).energising} == {Rung.C, Rung.D}


@pytest.mark.parametrize(
    ("identity", "setting", "can"),
    [
        (Identity("1.0.0", "X"), Setting(Rung.D, LadderSet.HIGH, False, False), True),
        (Identity("1.0.0", "X", rungs=(Rung.OPEN, Rung.B)), Setting(Rung.C), False),
        (
            Identity("1.0.0", "X", ladders=(LadderSet.NOMINAL,)),
            Setting(Rung.B, LadderSet.LOW),
            False,
        ),
        (Identity("1.0.0", "X", can_bypass_diode=False), Setting(Rung.B, diode_in=False), False),
        (Identity("1.0.0", "X", can_open_pe=False), Setting(Rung.B, pe_closed=False), False),
        (Identity("1.0.0", "X", cable_codes=(CableCode.OPEN,)), Setting(Rung.B), True),
        (
            Identity("1.0.0", "X", cable_codes=(CableCode.OPEN,)),
            Setting(Rung.B, cable=CableCode.A32),
            False,
        ),
    ],
)
def test_capabilities(identity: Identity, setting: Setting, can: bool) -> None:
    assert identity.can_present(setting) is can
