"""Address claims: SAE J1939-81, reference sheet 1.8 and 3.6."""

from __future__ import annotations

from shearbolt.model.controller import AddressHeld, Name
from shearbolt.wire.claim import AddressBook, Claim, read_claim, winner

HARVESTER = bytes.fromhex("CD81419A00000EA0")
LOW, HIGH = Name(0x1000), Name(0x2000)


def test_name_of_the_reference_sheet() -> None:
    # Reference sheet 3.6: CD 81 41 9A 00 00 0E A0.
    claim = read_claim(0x26, HARVESTER)
    assert claim is not None
    assert claim.address == 0x26
    name = claim.name
    assert name.hex == "A00E00009A4181CD"
    assert (name.identity_number, name.manufacturer_code) == (98765, 1234)
    assert (name.function, name.function_instance, name.ecu_instance) == (0, 0, 0)
    assert (name.device_class, name.device_class_instance, name.industry_group) == (7, 0, 2)
    assert name.self_configurable


def test_every_field_of_the_name_lies_where_the_sheet_says() -> None:
    # Reference sheet 3.6, one field all ones at a time.
    fields = {
        "identity_number": (0, 21),
        "manufacturer_code": (21, 11),
        "ecu_instance": (32, 3),
        "function_instance": (35, 5),
        "function": (40, 8),
        "device_class": (49, 7),
        "device_class_instance": (56, 4),
        "industry_group": (60, 3),
        "self_configurable": (63, 1),
    }
    for field, (first, bits) in fields.items():
        name = Name(((1 << bits) - 1) << first)
        for other, (_, width) in fields.items():
            expected = (1 << width) - 1 if other == field else 0
            assert getattr(name, other) == expected, (field, other)
    reserved = Name(1 << 48)
    assert all(not getattr(reserved, field) for field in fields)


def test_cannot_claim_comes_from_the_null_address() -> None:
    assert read_claim(254, HARVESTER) == Claim(Name.from_bytes(HARVESTER), None)
    assert read_claim(255, HARVESTER) is None
    assert read_claim(3, HARVESTER[:7]) is None


def test_the_lower_name_wins() -> None:
    # Reference sheet 1.8: as a 64-bit number, byte 8 most significant.
    assert winner(HIGH, LOW) == LOW
    byte_8 = Name.from_bytes(bytes.fromhex("0000000000000001"))
    byte_1 = Name.from_bytes(bytes.fromhex("FF00000000000000"))
    assert winner(byte_8, byte_1) == byte_1


def test_a_claim_repeated_is_one_stretch() -> None:
    book = AddressBook()
    for at in (10, 20, 30):
        book.feed(at, Claim(LOW, 3))
    assert book.held("can0") == (AddressHeld("can0", 3, LOW, 10, 30),)


def test_a_lower_name_takes_the_address() -> None:
    book = AddressBook()
    book.feed(10, Claim(HIGH, 3))
    book.feed(20, Claim(LOW, 3))
    book.feed(21, Claim(HIGH, 4))
    assert book.holder(3) == LOW
    assert book.held("can0") == (
        AddressHeld("can0", 3, HIGH, 10, 10),
        AddressHeld("can0", 3, LOW, 20, 20),
        AddressHeld("can0", 4, HIGH, 21, 21),
    )


def test_a_higher_name_changes_nothing_while_the_holder_defends() -> None:
    book = AddressBook()
    book.feed(10, Claim(LOW, 3))
    book.feed(20, Claim(HIGH, 3))
    book.feed(21, Claim(LOW, 3))
    book.feed(22, Claim(HIGH, None))
    assert book.holder(3) == LOW
    assert book.held("can0") == (AddressHeld("can0", 3, LOW, 10, 21),)


def test_a_higher_name_takes_an_address_that_nobody_defends() -> None:
    book = AddressBook()
    book.feed(10, Claim(LOW, 3))
    book.feed(20, Claim(HIGH, 3))
    book.feed(30, Claim(HIGH, 3))
    assert book.holder(3) == HIGH


def test_moving_to_another_address_leaves_the_first() -> None:
    book = AddressBook()
    book.feed(10, Claim(LOW, 128))
    book.feed(20, Claim(LOW, 129))
    assert book.holder(128) is None
    assert book.holder(129) == LOW


def test_cannot_claim_leaves_the_address() -> None:
    book = AddressBook()
    book.feed(10, Claim(LOW, 128))
    book.feed(20, Claim(LOW, None))
    assert book.holder(128) is None
    assert book.held("can0") == (AddressHeld("can0", 128, LOW, 10, 10),)
