/* SPDX-License-Identifier: MIT */
/* Templates for the body of a webhook, for receivers that want a shape of their own, such as the incoming hooks of chat
 * services:
 *
 *     {"text": "%{subject}\n%{summary}"}
 *
 * "%{name}" stands for a value of the notice; "%{name|entities}" for the same with &, < and > as &amp; &lt; &gt;, where
 * the receiver takes these for markup. Each value is escaped for what the body is: nothing that a value holds can end
 * the string or the field that it stands in. A template is no language: no conditions, no loops. */
#ifndef RILLWARD_CONFIG_TEMPLATE_H
#define RILLWARD_CONFIG_TEMPLATE_H

#include "base/error.h"
#include "config/config.h"

#include <stdbool.h>
#include <stddef.h>

enum template_value {
    TEMPLATE_SUBJECT,  /* "[HIGH] Oxygen low at Heron Creek: 1.83 mg/L, still so" */
    TEMPLATE_TEXT,     /* the whole text of a mail */
    TEMPLATE_SUMMARY,  /* "STILL SO at the last sample: 1.83 mg/L (alarm below 3 mg/L)." and how old that is */
    TEMPLATE_EVENT,    /* raised, updated, returned, ... */
    TEMPLATE_PRIORITY, /* low, medium, high */
    TEMPLATE_STATE,    /* of the alarm: unacknowledged, ... */
    TEMPLATE_TITLE,    /* of the rule */
    TEMPLATE_RULE,     /* its id */
    TEMPLATE_PLACE,    /* name of station or barometer; the path of a drop */
    TEMPLATE_STATION,  /* its id */
    TEMPLATE_ADVICE,
    TEMPLATE_LINK,    /* page of the station, or of the network; "" where the archive has no address */
    TEMPLATE_ALARM,   /* number, for 'rillward alarms acknowledge' */
    TEMPLATE_ID,      /* of the notice: the same in every attempt */
    TEMPLATE_NETWORK, /* its name */
    TEMPLATE_VALUE_COUNT
};
const char *template_value_word(enum template_value value);

/* Either bytes of the template itself, or a value. */
struct template_piece {
    const char *bytes;
    size_t length;
    enum template_value value; /* TEMPLATE_VALUE_COUNT: `bytes` */
    bool has_entities;
};

/* The next piece, from *at, which moves on. False at the end, and with a CONFIG error where the template is broken
 * (`error` filled; let its kind be ERROR_NONE before). */
bool template_next(const char **at, struct template_piece *ret, struct error *error);

/* Is the template sound for such a body? In JSON: values stand in strings only, and the rest is JSON. CONFIG error as
 * the end of a sentence: "names '%{txt}', expected ...". */
bool template_check(const char *text, enum body_type type, struct error *error);

#endif
