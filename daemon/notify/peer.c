/* SPDX-License-Identifier: MIT */
#include "notify/peer.h"

#include "base/memory.h"

#include <arpa/inet.h>
#include <netinet/in.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

struct prefix {
    unsigned char bytes[16];
    unsigned bits;
};

/* IANA special-purpose address registries (RFC 6890 and later entries): what is never a public receiver. */
static const struct prefix private_ipv4[] = {
    {{0}, 8},          /* this network */
    {{10}, 8},         /* private, RFC 1918 */
    {{100, 64}, 10},   /* shared by carriers, RFC 6598 */
    {{127}, 8},        /* loopback */
    {{169, 254}, 16},  /* link-local, and the metadata service of hosted machines */
    {{172, 16}, 12},   /* private */
    {{192, 0, 0}, 24}, /* protocol assignments */
    {{192, 168}, 16},  /* private */
    {{198, 18}, 15},   /* benchmarks, RFC 2544 */
    {{224}, 4},        /* multicast */
    {{240}, 4},        /* reserved, broadcast */
};

static const struct prefix private_ipv6[] = {
    {{0}, 127},                           /* :: and ::1 */
    {{0x00, 0x64, 0xFF, 0x9B, 0, 1}, 48}, /* local NAT64, RFC 8215 */
    {{0xFC}, 7},                          /* unique local */
    {{0xFE, 0x80}, 10},                   /* link-local */
    {{0xFE, 0xC0}, 10},                   /* site-local, retired */
    {{0xFF}, 8},                          /* multicast */
};

/* IPv6 prefixes behind which an IPv4 address stands, and where. */
static const struct wrapping {
    struct prefix prefix;
    size_t at;
} wrappings[] = {
    {{{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0xFF, 0xFF}, 96}, 12}, /* mapped */
    {{{0x00, 0x64, 0xFF, 0x9B}, 96}, 12},                   /* NAT64, RFC 6052 */
    {{{0x20, 0x02}, 16}, 2},                                /* 6to4 */
    {{{0}, 96}, 12}, /* compatible, retired; after :: and ::1 were judged */
};

static bool is_within(const unsigned char *address, const struct prefix *prefix);
static bool is_in_list(const unsigned char *address, const struct prefix *list, size_t count);
static bool find_ipv4(const struct sockaddr *address, unsigned char ret[4]);

bool peer_is_private(const struct sockaddr *address)
{
    if (address->sa_family == AF_INET6) {
        const struct sockaddr_in6 *ipv6 = (const void *)address;
        if (is_in_list(ipv6->sin6_addr.s6_addr, private_ipv6, COUNT_OF(private_ipv6)))
            return true;
    } else if (address->sa_family != AF_INET) {
        return true;
    }
    unsigned char ipv4[4];
    return find_ipv4(address, ipv4) && is_in_list(ipv4, private_ipv4, COUNT_OF(private_ipv4));
}

bool peer_is_loopback(const struct sockaddr *address)
{
    if (address->sa_family == AF_INET6) {
        const struct sockaddr_in6 *ipv6 = (const void *)address;
        if (IN6_IS_ADDR_LOOPBACK(&ipv6->sin6_addr))
            return true;
        if (!IN6_IS_ADDR_V4MAPPED(&ipv6->sin6_addr))
            return false;
    }
    unsigned char ipv4[4];
    return find_ipv4(address, ipv4) && ipv4[0] == 127;
}

char *peer_print(const struct sockaddr *address, char *ret)
{
    const void *bytes = NULL;
    if (address->sa_family == AF_INET)
        bytes = &((const struct sockaddr_in *)(const void *)address)->sin_addr;
    else if (address->sa_family == AF_INET6)
        bytes = &((const struct sockaddr_in6 *)(const void *)address)->sin6_addr;
    if (!bytes || !inet_ntop(address->sa_family, bytes, ret, PEER_SIZE))
        strcpy(ret, "?");
    return ret;
}

static bool is_within(const unsigned char *address, const struct prefix *prefix)
{
    size_t whole = prefix->bits / 8;
    if (memcmp(address, prefix->bytes, whole) != 0)
        return false;
    unsigned rest = prefix->bits % 8;
    return rest == 0 || (address[whole] ^ prefix->bytes[whole]) >> (8 - rest) == 0;
}

static bool is_in_list(const unsigned char *address, const struct prefix *list, size_t count)
{
    for (size_t i = 0; i < count; i++)
        if (is_within(address, &list[i]))
            return true;
    return false;
}

/* The IPv4 address that packets reach in the end; false where there is none. */
static bool find_ipv4(const struct sockaddr *address, unsigned char ret[4])
{
    if (address->sa_family == AF_INET) {
        memcpy(ret, &((const struct sockaddr_in *)(const void *)address)->sin_addr, 4);
        return true;
    }
    if (address->sa_family != AF_INET6)
        return false;
    const unsigned char *bytes = ((const struct sockaddr_in6 *)(const void *)address)->sin6_addr.s6_addr;
    for (size_t i = 0; i < COUNT_OF(wrappings); i++)
        if (is_within(bytes, &wrappings[i].prefix)) {
            memcpy(ret, bytes + wrappings[i].at, 4);
            return true;
        }
    return false;
}
