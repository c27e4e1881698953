/* SPDX-License-Identifier: MIT */
/* The chart that goes with a mail: the rule's quantity around the alarm's episode, as the record stands when the mail
 * is sent. */
#ifndef RILLWARD_SERVICE_PICTURE_H
#define RILLWARD_SERVICE_PICTURE_H

#include "notify/message.h"
#include "service/pipeline.h"

/* Appends the PNG to `png`, which must live as long as *ret. False where there is none to show: the notice is about no
 * single alarm at a station, its rule looks at no quantity, it was withdrawn, or the record is empty or cannot be read;
 * a mail is complete without it. Uses the pipeline's arena and does not reset it. */
bool picture_draw(struct pipeline *pipeline, const struct notice *notice, struct text *png,
                  struct message_picture *ret);

#endif
