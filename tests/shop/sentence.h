// SPDX-License-Identifier: MIT
/* sentence: one event of a programme, in words. See scene.h for what can be said. */
#ifndef SHOP_SENTENCE_H
#define SHOP_SENTENCE_H

#include "scene.h"

/* Reads "TIME WORDS" against the names in `scene`. The fault quotes the text; it names no file. */
int sentence_parse(const struct scene *scene, const char *text, struct scene_event *event, struct fault *fault);

#endif
