// SPDX-License-Identifier: MIT
#include "capture.h"

#include <stdlib.h>
#include <string.h>

void capture_add(struct capture *capture, const uint8_t *bytes, size_t length) {
    pthread_mutex_lock(&capture->mutex);
    if (capture->length + length > capture->room) {
        capture->room = 2 * (capture->length + length);
        capture->bytes = realloc(capture->bytes, capture->room);
        if (capture->bytes == NULL)
            abort();
    }
    memcpy(capture->bytes + capture->length, bytes, length);
    capture->length += length;
    pthread_mutex_unlock(&capture->mutex);
}

void capture_clear(struct capture *capture) {
    free(capture->bytes);
    capture->bytes = NULL;
    capture->length = capture->room = 0;
}
