"""Lease files as their servers write them, each line with where it is from."""

from datetime import UTC, datetime

import pytest

from pattress.discovery.lease_formats import Lease, LeaseFormat, leases_of

MAC = "02:00:00:00:00:07"


def lease(address: str, expires_at: datetime | None, *, mac: str | None = MAC, name: str | None = "relay-7") -> Lease:
    return Lease(address=address, mac=mac, name=name, expires_at=expires_at)


def moment(epoch_s: int) -> datetime:
    return datetime.fromtimestamp(epoch_s, UTC)


DNSMASQ = "1795601141 02:00:00:00:00:07 10.20.0.50 relay-7 01:02:00:00:00:00:07\n"
KEA_HEAD = (
    "address,hwaddr,client_id,valid_lifetime,expire,subnet_id,fqdn_fwd,fqdn_rev,hostname,state,user_context{more}\n"
)
KEA_ROW = "10.20.0.50,02:00:00:00:00:07,01:02:00:00:00:00:07,3600,1795601209,1,0,0,relay-7,{state},{more}\n"
KEA_6 = (
    "address,duid,valid_lifetime,expire,subnet_id,pref_lifetime,lease_type,iaid,prefix_len,fqdn_fwd,fqdn_rev,hostname,"
    "hwaddr,state,user_context,hwtype,hwaddr_source\n"
    "2001:db8::7,00:03:00:01:02:00:00:00:00:07,4000,1795601209,1,3000,0,1,128,0,0,relay-7,02:00:00:00:00:07,0,,1,2\n"
    "2001:db8:7::,00:03:00:01:02:00:00:00:00:07,4000,1795601209,1,3000,2,1,56,0,0,,02:00:00:00:00:07,0,,1,2\n"
)
ISC = """\
# The format of this file is documented in the dhcpd.leases(5) manual page.
authoring-byte-order little-endian;

lease 10.20.0.70 {{
  starts {starts};
  ends {ends};
  cltt {starts};
  binding state active;
  next binding state free;
  hardware ethernet 02:00:00:00:00:07;
  uid "\\001\\002\\000\\000\\000\\000\\007";
  client-hostname "relay-7";
}}
"""
ISC_UTC = ISC.format(starts="3 2026/11/25 09:06:53", ends="3 2026/11/25 10:06:53")
ISC_EPOCH = ISC.format(
    starts="epoch 1795597613; # Wed Nov 25 09:06:53 2026", ends="epoch 1795601213; # Wed Nov 25 10:06:53 2026"
)
ISC_6 = """\
ia-na "\\001\\000\\000\\000\\000\\003\\000\\001\\002\\000\\000\\000\\000\\007" {
  cltt 3 2026/11/25 09:06:53;
  iaaddr 2001:db8::7 {
    binding state active;
    preferred-life 375;
    max-life 600;
    ends 3 2026/11/25 09:16:53;
  }
}
"""


@pytest.mark.parametrize(
    ("text", "file_format", "leases", "source"),
    [
        (DNSMASQ, "dnsmasq", [lease("10.20.0.50", moment(1795601141))], "dnsmasq 2.90, live"),
        (
            "0 02:00:00:00:00:07 10.20.0.50 * *\n",
            "dnsmasq",
            [lease("10.20.0.50", None, name=None)],
            "dnsmasq(8), --dhcp-leasefile and an infinite lease: 0 is never, * is no name",
        ),
        (
            f"{DNSMASQ}duid 00:01:00:01:30:b5:2f:c1:02:00:00:00:00:01\n"
            "1795601141 7 2001:db8::7 relay-7 00:03:00:01:02:00:00:00:00:07\n",
            "dnsmasq",
            [lease("10.20.0.50", moment(1795601141)), lease("2001:db8::7", moment(1795601141), mac=None)],
            "dnsmasq 2.90: after the server's DUID the IPv6 leases, with an interface number for the MAC",
        ),
        (
            KEA_HEAD.format(more="") + KEA_ROW.format(state=0, more=""),
            "kea",
            [lease("10.20.0.50", moment(1795601209))],
            "Kea 2.2.0 memfile, live",
        ),
        (
            KEA_HEAD.format(more=",pool_id") + KEA_ROW.format(state=0, more=",1"),
            "kea",
            [lease("10.20.0.50", moment(1795601209))],
            "Kea ARM, memfile: later versions add pool_id",
        ),
        (
            KEA_HEAD.format(more="") + KEA_ROW.format(state=0, more="") + KEA_ROW.format(state=1, more=""),
            "kea",
            [],
            "Kea ARM, memfile: the last row counts; state 1 is declined",
        ),
        (KEA_HEAD.format(more="") + KEA_ROW.format(state=2, more=""), "kea", [], "Kea ARM: state 2 is expired"),
        (KEA_6, "kea", [lease("2001:db8::7", moment(1795601209))], "Kea ARM, memfile of IPv6: type 2 is a prefix"),
        (
            ISC_UTC,
            "isc-dhcpd",
            [lease("10.20.0.70", datetime(2026, 11, 25, 10, 6, 53, tzinfo=UTC))],
            "ISC dhcpd 4.4.3-P1, live; dhcpd.leases(5): times are UTC",
        ),
        (
            ISC_EPOCH,
            "isc-dhcpd",
            [lease("10.20.0.70", moment(1795601213))],
            "dhcpd.leases(5): db-time-format local, `epoch` and a comment",
        ),
        (
            ISC.format(starts="3 2026/11/25 09:06:53", ends="never"),
            "isc-dhcpd",
            [lease("10.20.0.70", None)],
            "dhcpd.leases(5): never",
        ),
        (
            ISC_UTC + ISC_UTC.replace("  binding state active", "  binding state free"),
            "isc-dhcpd",
            [],
            "dhcpd.leases(5): the last declaration of a lease is the current one",
        ),
        (
            ISC_6,
            "isc-dhcpd",
            [lease("2001:db8::7", datetime(2026, 11, 25, 9, 16, 53, tzinfo=UTC), mac=None, name=None)],
            "dhcpd.leases(5), DHCPv6 leases",
        ),
    ],
)
def test_leases_are_read_as_their_server_means_them(
    text: str, file_format: LeaseFormat, leases: list[Lease], source: str
) -> None:
    table = leases_of(text.encode())

    assert (table.format, list(table.leases), table.unfit) == (file_format, leases, 0), source
