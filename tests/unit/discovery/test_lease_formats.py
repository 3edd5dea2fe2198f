"""Lease files that are half written, odd or hostile."""

import time
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.discovery import lease_formats
from pattress.discovery.lease_formats import LeaseTable, UnknownFormatError, leases_of

DNSMASQ = b"1795601141 02:00:5e:00:53:07 192.0.2.7 relay-7 *\n"
KEA = (
    b"address,hwaddr,client_id,valid_lifetime,expire,subnet_id,fqdn_fwd,fqdn_rev,hostname,state,user_context\n"
    b"192.0.2.7,02:00:5e:00:53:07,,3600,1795601209,1,0,0,relay-7,0,\n"
)
ISC = (
    b'lease 192.0.2.7 { ends 3 2026/11/25 10:06:53; hardware ethernet 02:00:5e:00:53:07; client-hostname "relay-7"; }\n'
)
FILES = pytest.mark.parametrize("data", [DNSMASQ, KEA, ISC], ids=["dnsmasq", "kea", "isc"])


def names(data: bytes) -> dict[str, str | None]:
    return {lease.address: lease.name for lease in leases_of(data).leases}


@FILES
def test_a_file_cut_anywhere_holds_the_whole_lease_or_none(data: bytes) -> None:
    for length in range(1, len(data) + 1):
        try:
            table = leases_of(data[:length])
        except UnknownFormatError:
            continue

        assert [lease.address for lease in table.leases] in ([], ["192.0.2.7"]), length
        assert table.leases == () or table.leases == leases_of(data).leases


@FILES
def test_of_several_entries_for_an_address_the_last_one_counts(data: bytes) -> None:
    later = data.replace(b"relay-7", b"lamp-2")

    assert names(data + later) == {"192.0.2.7": "lamp-2"}


@FILES
def test_bytes_of_any_kind_in_a_name_are_kept_as_text(data: bytes) -> None:
    odd = data.replace(b"relay-7", "küche\u2028".encode() + b"\xff\x85")

    assert names(odd) == {"192.0.2.7": "küche\u2028\\xff\\x85"}


@FILES
def test_what_makes_no_sense_is_counted_and_hides_nothing(data: bytes) -> None:
    nonsense = data.replace(b"192.0.2.7", b"192.0.2.777").replace(b"relay-7", b"other")

    table = leases_of(nonsense + data)

    assert [lease.name for lease in table.leases] == ["relay-7"]
    assert table.unfit == 1


@FILES
def test_comments_and_empty_lines_are_passed_over(data: bytes) -> None:
    assert leases_of(b"# 1 02:00:5e:00:53:09 192.0.2.9 x *\n\n" + data + b"\n# end\n") == leases_of(data)


@FILES
def test_addresses_over_the_limit_are_counted_and_known_ones_go_on(
    data: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(lease_formats, "MAX_LEASES", 1)

    table = leases_of(data + data.replace(b"192.0.2.7", b"192.0.2.8") + data.replace(b"relay-7", b"lamp-2"))

    assert ([lease.name for lease in table.leases], table.left_out) == (["lamp-2"], 1)


@pytest.mark.parametrize("data", [b"", b"\n \n", b"# The format of this file is documented in dhcpd.leases(5).\n"])
def test_a_file_without_a_lease_yet_is_empty_and_no_fault(data: bytes) -> None:
    assert leases_of(data) == LeaseTable(format=None, leases=())


@pytest.mark.parametrize("data", [b"hello world\n", b"\x7fELF\x02\x01\x01\0\0", b"192.0.2.7,relay-7\n", b"17956"])
def test_what_is_no_lease_file_is_said(data: bytes) -> None:
    with pytest.raises(UnknownFormatError, match="neither dnsmasq"):
        leases_of(data)


def test_an_isc_file_whose_first_declaration_is_no_lease_is_known() -> None:
    assert leases_of(b"authoring-byte-order little-endian;\n").format == "isc-dhcpd"
    assert leases_of(b'server-duid "\\000\\001";\n').format == "isc-dhcpd"


def test_a_comma_in_a_kea_name_is_written_as_its_number() -> None:
    assert names(KEA.replace(b"relay-7", b"relay&#x2c7")) == {"192.0.2.7": "relay,7"}


def test_a_kea_lease_without_end_never_expires() -> None:
    (lease,) = leases_of(KEA.replace(b",3600,", b",4294967295,")).leases

    assert lease.expires_at is None


def test_a_kea_row_with_a_lifetime_of_nothing_removes_the_lease() -> None:
    row = KEA.splitlines(keepends=True)[1]

    assert names(KEA + row.replace(b",3600,", b",0,")) == {}


def test_a_kea_file_written_on_by_a_newer_version_has_a_second_head() -> None:
    newer = KEA.replace(b"user_context", b"user_context,pool_id").replace(b"192.0.2.7", b"192.0.2.8")

    assert set(names(KEA + newer)) == {"192.0.2.7", "192.0.2.8"}


def test_isc_text_is_read_with_its_escapes() -> None:
    odd = ISC.replace(b"relay-7", b'k\\303\\274che \\"7\\" \\\\ ; } # \\377')

    assert names(odd) == {"192.0.2.7": 'küche "7" \\ ; } # \\xff'}


def test_statements_within_a_block_of_an_isc_lease_are_not_its_own() -> None:
    inner = ISC.replace(b"hardware", b'on expiry { set a = "1"; client-hostname "inner"; } hardware')

    assert names(inner) == {"192.0.2.7": "relay-7"}


def test_an_isc_lease_that_was_never_closed_does_not_swallow_the_next() -> None:
    table = leases_of(ISC.replace(b"}", b"") + ISC.replace(b"192.0.2.7", b"192.0.2.8"))

    assert [lease.address for lease in table.leases] == ["192.0.2.8"]
    assert table.unfit == 1


def test_an_isc_text_that_was_never_closed_ends_with_its_line() -> None:
    data = ISC.replace(b'"relay-7"; }', b'"relay-7\n; }')

    assert names(data) == {"192.0.2.7": "relay-7"}


def test_an_expiry_beyond_every_calendar_is_the_last_one() -> None:
    (lease,) = leases_of(DNSMASQ.replace(b"1795601141", b"9" * 19)).leases

    assert lease.expires_at == datetime(9999, 12, 31, 23, 59, 59, tzinfo=UTC)


@pytest.mark.parametrize("field", [b"-1", b"9" * 5000, "١٢٣".encode(), b"1e9"])
def test_an_expiry_that_is_no_number_of_seconds_makes_no_sense(field: bytes) -> None:
    table = leases_of(DNSMASQ + DNSMASQ.replace(b"1795601141", field).replace(b"192.0.2.7", b"192.0.2.8"))

    assert ([lease.address for lease in table.leases], table.unfit) == (["192.0.2.7"], 1)


@pytest.mark.parametrize("address", [b"fe80::1%iot0", b"::ffff:192.0.2.8", b"2001:DB8:0::8"])
def test_addresses_are_kept_in_their_normal_form_and_without_zones(address: bytes) -> None:
    found = set(names(DNSMASQ + DNSMASQ.replace(b"192.0.2.7", address))) - {"192.0.2.7"}

    assert found <= {"192.0.2.8", "2001:db8::8"}


def test_a_name_longer_than_dns_allows_is_cut() -> None:
    assert names(DNSMASQ.replace(b"relay-7", b"x" * 70_000)) == {"192.0.2.7": "x" * 255}


@pytest.mark.parametrize(
    "filling",
    [b'"', b'\\"', b'"\\', b"{", b"}", b"lease a {", b"iaaddr a {", b"a ", b"#", b"# \n", b'"\n', b" ", b"\t\n", b"\\"],
)
def test_an_isc_file_of_one_mebibyte_of_anything_takes_time_in_proportion(filling: bytes) -> None:
    data = ISC + filling * (2**20 // len(filling))
    started_at = time.perf_counter()

    table = leases_of(data)

    assert time.perf_counter() - started_at < 10  # in proportion 0.5 s; in squares of it, hours
    assert [lease.address for lease in table.leases] == ["192.0.2.7"]


@given(st.sampled_from([DNSMASQ, KEA, ISC]), st.binary(max_size=300))
def test_no_bytes_at_all_raise_anything_unforeseen(start: bytes, tail: bytes) -> None:
    for data in (start + tail, tail):
        try:
            table = leases_of(data)
        except UnknownFormatError:
            continue
        for lease in table.leases:
            (lease.name or "").encode()  # text that can be sent and kept
