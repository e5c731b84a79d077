"""Ethernet frames, read by PyPI dpkt 1.9.8; see make_golden.py."""

import socket

import dpkt

PER_KIND = 3


def mac(b):
    return ":".join(f"{x:02x}" for x in b)


def address(b):
    return socket.inet_ntop(socket.AF_INET if len(b) == 4 else socket.AF_INET6, b)


def want(frame):
    """What dpkt reads, down to ports and payload."""
    eth = dpkt.ethernet.Ethernet(frame)
    out = {"source": mac(eth.src), "destination": mac(eth.dst)}
    tags = getattr(eth, "vlan_tags", [])
    out["vlan"] = [tags[-1].id, 0] if tags else None
    inner = eth.data
    if isinstance(inner, dpkt.arp.ARP):
        return "arp", {**out, "operation": [inner.op, 0], "sender-mac": mac(inner.sha), "sender-ip": address(inner.spa),
                       "target-mac": mac(inner.tha), "target-ip": address(inner.tpa)}
    if isinstance(inner, (dpkt.ip.IP, dpkt.ip6.IP6)):
        four = isinstance(inner, dpkt.ip.IP)
        out |= {"ip-source": address(inner.src), "ip-destination": address(inner.dst),
                "protocol": [inner.p, 0], "hops": [inner.ttl if four else inner.hlim, 0]}
        if four:
            out |= {"id": [inner.id, 0], "dont-fragment": bool(inner.df)}
        top = inner.data
        if isinstance(top, dpkt.udp.UDP):
            return "udp", {**out, "source-port": [top.sport, 0], "destination-port": [top.dport, 0],
                           "payload": bytes(top.data).hex()}
        if isinstance(top, dpkt.tcp.TCP):
            return f"tcp{top.flags}", {**out, "source-port": [top.sport, 0], "destination-port": [top.dport, 0],
                                       "sequence": [top.seq, 0], "acknowledgment": [top.ack, 0],
                                       "flags": [top.flags, 0], "window": [top.win, 0],
                                       "payload": bytes(top.data).hex()}
        return f"ip{inner.p}", out
    return f"{eth.type:04x}", out


def generated():
    """Frames by dpkt's own encoder: versions, flags, odd lengths, a VLAN tag, fill behind a short datagram."""
    a, b = bytes.fromhex("02005e000001"), bytes.fromhex("02005e0000ff")
    for length in (0, 1, 2, 57, 1400):
        udp = dpkt.udp.UDP(sport=65535 - length, dport=10110, data=bytes(n & 255 for n in range(length)))
        udp.ulen = len(udp)
        ip = dpkt.ip.IP(src=bytes([10, 0, 0, 1]), dst=bytes([255] * 4), p=17, ttl=1 + length % 255, id=65535 - length,
                        data=udp)
        ip.len = len(ip)
        frame = bytes(dpkt.ethernet.Ethernet(src=a, dst=b, type=0x0800, data=ip))
        yield frame.ljust(60, b"\0")
        yield frame[:12] + bytes.fromhex("8100a00c") + frame[12:].ljust(46, b"\0")
        udp6 = dpkt.udp.UDP(sport=1, dport=5353, data=bytes(length))
        udp6.ulen = len(udp6)
        six = dpkt.ip6.IP6(src=bytes.fromhex("fe80" + "00" * 13 + "01"), dst=bytes.fromhex("ff02" + "00" * 13 + "fb"),
                           nxt=17, hlim=255, plen=len(udp6), data=udp6)
        six.p = 17
        yield bytes(dpkt.ethernet.Ethernet(src=a, dst=b, type=0x86DD, data=six))
    for flags in (2, 18, 16, 24, 17, 4):
        tcp = dpkt.tcp.TCP(sport=49152, dport=2000, seq=0xFFFFFFFF - flags, ack=flags << 24, flags=flags, win=65535,
                           data=b"" if flags in (2, 18) else b"$HEHDT,1.0,T")
        ip = dpkt.ip.IP(src=bytes([192, 168, 1, 2]), dst=bytes([192, 168, 1, 3]), p=6, id=flags, data=tcp)
        ip.len, ip.df = len(ip), 1
        yield bytes(dpkt.ethernet.Ethernet(src=a, dst=b, type=0x0800, data=ip)).ljust(60, b"\0")
    for operation in (1, 2):
        arp = dpkt.arp.ARP(sha=a, spa=bytes([10, 0, 0, 1]), tha=b, tpa=bytes([10, 0, 0, 254]), op=operation)
        yield bytes(dpkt.ethernet.Ethernet(src=a, dst=b"\xff" * 6, type=0x0806, data=arp)).ljust(60, b"\0")


def rows(recording):
    """One row a frame: ours, and some of each kind of the demo recording."""
    out, seen = [], {}
    for frame in generated():
        out.append({"frame": frame.hex(), "want": want(frame)[1]})
    for _, frame in dpkt.pcapng.Reader(recording):
        kind, values = want(frame)
        seen[kind] = seen.get(kind, 0) + 1
        if seen[kind] <= PER_KIND:
            out.append({"frame": frame.hex(), "want": values})
    return out
