"""Owns the named line rates of open standards, each with its own symbol rate and its source.

Each source ends with how it was checked. ``seen``: read in the named source or in a public listing of it.
``from memory``: not checked against the document; check it yourself before you rely on it.
"""

from __future__ import annotations

from typing import Literal, NamedTuple, TypeAlias

Modulation: TypeAlias = Literal["NRZ", "PAM3", "PAM4"]
"""How symbols carry bits: two, three or four levels."""


class LineRate(NamedTuple):
    """Line rate of one lane of an interface: its names, modulation, symbol rate [GBd] and source."""

    names: tuple[str, ...]
    modulation: Modulation
    gbaud: float
    source: str


_PCI = "PCI-SIG Base Specification"
_802_3 = "IEEE 802.3"
SEEN, MEMORY = "seen", "from memory"

LINE_RATES: tuple[LineRate, ...] = (
    LineRate(("PCIe 1.0", "PCIe 1.1", "PCIe 1"), "NRZ", 2.5, f"{_PCI} 1.x, 2.5 GT/s; {SEEN}"),
    LineRate(("PCIe 2.0", "PCIe 2"), "NRZ", 5.0, f"{_PCI} 2.x, 5 GT/s; {SEEN}"),
    LineRate(("PCIe 3.0", "PCIe 3"), "NRZ", 8.0, f"{_PCI} 3.x, 8 GT/s; {SEEN}"),
    LineRate(("PCIe 4.0", "PCIe 4"), "NRZ", 16.0, f"{_PCI} 4.0, 16 GT/s; {SEEN}"),
    LineRate(("PCIe 5.0", "PCIe 5"), "NRZ", 32.0, f"{_PCI} 5.0, 32 GT/s; {SEEN}"),
    LineRate(("PCIe 6.0", "PCIe 6"), "PAM4", 32.0, f"{_PCI} 6.0, 64 GT/s; {SEEN}"),
    LineRate(("PCIe 7.0", "PCIe 7"), "PAM4", 64.0, f"{_PCI} 7.0, 128 GT/s; {SEEN}"),
    LineRate(("1000BASE-X", "SGMII"), "NRZ", 1.25, f"{_802_3} clause 36; {MEMORY}"),
    LineRate(("XAUI", "10GBASE-KX4"), "NRZ", 3.125, f"{_802_3} clauses 47 and 71; {MEMORY}"),
    LineRate(("10GBASE-KR", "40GBASE-KR4"), "NRZ", 10.3125, f"{_802_3} clauses 72 and 84; {SEEN}"),
    LineRate(
        ("25GBASE-KR", "100GBASE-KR4", "CAUI-4"), "NRZ", 25.78125, f"{_802_3} clauses 111, 93, Annexes 83D/83E; {SEEN}"
    ),
    LineRate(("100GBASE-KP4",), "PAM4", 13.59375, f"{_802_3} clause 94; {SEEN}"),
    LineRate(("50GBASE-KR", "100GBASE-KR2", "200GBASE-KR4"), "PAM4", 26.5625, f"{_802_3} clause 137 (802.3cd); {SEEN}"),
    LineRate(
        ("100GBASE-KR1", "200GBASE-KR2", "400GBASE-KR4"),
        "PAM4",
        53.125,
        f"{_802_3} clause 163 (802.3ck); clause {SEEN}, rate {MEMORY}",
    ),
    LineRate(("200GBASE-KR1", "400GBASE-KR2", "800GBASE-KR4"), "PAM4", 106.25, f"{_802_3} draft 802.3dj; {MEMORY}"),
    LineRate(("SATA 1", "SATA 1.5 Gb/s"), "NRZ", 1.5, f"Serial ATA 3.x; {MEMORY}"),
    LineRate(("SATA 2", "SATA 3 Gb/s"), "NRZ", 3.0, f"Serial ATA 3.x; {MEMORY}"),
    LineRate(("SATA 3", "SATA 6 Gb/s"), "NRZ", 6.0, f"Serial ATA 3.x; {MEMORY}"),
    LineRate(("SAS-3",), "NRZ", 12.0, f"INCITS SAS-3; {MEMORY}"),
    LineRate(("SAS-4",), "NRZ", 22.5, f"INCITS SAS-4; {MEMORY}"),
    LineRate(("USB 3.2 Gen 1",), "NRZ", 5.0, f"USB 3.2; {SEEN}"),
    LineRate(("USB 3.2 Gen 2",), "NRZ", 10.0, f"USB 3.2; {SEEN}"),
    LineRate(("USB4 Gen 2",), "NRZ", 10.0, f"USB4 1.0; {MEMORY}"),
    LineRate(("USB4 Gen 3",), "NRZ", 20.0, f"USB4 1.0; {MEMORY}"),
    LineRate(("USB4 Gen 4",), "PAM3", 25.6, f"USB4 2.0; modulation {SEEN}, symbol rate {MEMORY}"),
    LineRate(("JESD204B",), "NRZ", 12.5, f"JEDEC JESD204B, highest rate; {MEMORY}"),
    LineRate(("DisplayPort HBR",), "NRZ", 2.7, f"VESA DisplayPort; {SEEN}"),
    LineRate(("DisplayPort HBR2",), "NRZ", 5.4, f"VESA DisplayPort; {SEEN}"),
    LineRate(("DisplayPort HBR3",), "NRZ", 8.1, f"VESA DisplayPort; {MEMORY}"),
    LineRate(("DDR4-3200",), "NRZ", 3.2, f"JEDEC JESD79-4; {SEEN}"),
)
