//! Which IPv4 address each host of a network stands by.

use crate::books::inventory::DeviceId;
use crate::books::network::Network;
use std::net::Ipv4Addr;

/// A host that spoke with an address less often than this may only have tried it.
const FEW: u64 = 3;

/// Every host with the address that it used last; hosts that use several at a time (routers) are left out.
pub(super) fn hosts_by_address(network: &Network) -> Vec<(DeviceId, Ipv4Addr)> {
    let mut last: Vec<(DeviceId, Ipv4Addr, crate::time::Time)> = Vec::new();
    let mut several: Vec<DeviceId> = Vec::new();
    for (ip, claimants) in &network.claimed {
        for claimant in claimants.iter().filter(|c| c.count >= FEW) {
            match last.iter_mut().find(|(id, ..)| *id == claimant.device) {
                None => last.push((claimant.device, *ip, claimant.span.to)),
                Some((id, known, to)) => {
                    // The one address followed the other, or both are in use.
                    if claimant.span.from < *to && *to < claimant.span.to && is_local(*known) == is_local(*ip)
                    {
                        several.push(*id);
                    }
                    if claimant.span.to > *to {
                        *known = *ip;
                        *to = claimant.span.to;
                    }
                }
            }
        }
    }
    last.retain(|(id, ..)| !several.contains(id));
    last.sort_unstable_by_key(|(id, ..)| *id);
    last.into_iter().map(|(id, ip, _)| (id, ip)).collect()
}

/// Whether an address is one that a host gives itself (RFC 3927).
pub(super) const fn is_local(ip: Ipv4Addr) -> bool {
    ip.is_link_local()
}
