// SPDX-License-Identifier: MIT
/* Packs readings as they pass: rows into a small buffer, the buffer through SHA-256 and deflate into a file without
 * a name. Memory does not grow with the run. */
#include "soakledger/attach.h"

#include <openssl/evp.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

#include "attach_parts.h"

enum {
    BUFFER_BYTES = 65536,
    LEVEL = 4, // an hour's readings: 44 bits each at level 1, 35 at 4, 37 at 6, 33 at 9 in thirty times the time
    DIGIT_ZERO = '0',
};

struct attach {
    FILE *packed;
    struct attach_readings runs[ATTACH_MOST_RUNS];
    size_t count;
    /* of the run that is passing */
    const struct assess_run *run;
    struct attach_channel *channels;
    struct attach_clock clock;
    EVP_MD_CTX *digest;
    z_stream stream;
    bool stream_open;
    size_t used;
    unsigned char rows[BUFFER_BYTES];
    unsigned char out[BUFFER_BYTES];
};

struct attach *attach_open(struct fault *fault) {
    struct attach *attach = calloc(1, sizeof *attach);

    if (attach == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory for readings to attach");
        return NULL;
    }
    attach->packed = tmpfile();
    if (attach->packed == NULL) {
        fault_set_errno(fault, EX_CANTCREAT, "cannot make a temporary file for readings");
        free(attach);
        return NULL;
    }
    attach->digest = EVP_MD_CTX_new();
    if (attach->digest == NULL) {
        fault_set(fault, EX_OSERR, "not enough memory for readings to attach");
        attach_free(attach);
        return NULL;
    }
    return attach;
}

static void attach_end_run(struct attach *attach) {
    if (attach->stream_open)
        deflateEnd(&attach->stream);
    attach->stream_open = false;
    attach_free_channels(attach->channels, attach->run != NULL ? attach->run->channel_count : 0);
    attach->channels = NULL;
    attach->run = NULL;
}

void attach_free(struct attach *attach) {
    if (attach == NULL)
        return;
    attach_end_run(attach);
    EVP_MD_CTX_free(attach->digest);
    fclose(attach->packed);
    free(attach);
}

size_t attach_count(const struct attach *attach) {
    return attach->count;
}

const struct attach_readings *attach_run(const struct attach *attach, size_t index) {
    return &attach->runs[index];
}

FILE *attach_packed(const struct attach *attach) {
    return attach->packed;
}

/* ---- one run ---- */

static int attach_pack(struct attach *attach, int flush, struct fault *fault) {
    struct attach_readings *readings = &attach->runs[attach->count];
    int state;

    EVP_DigestUpdate(attach->digest, attach->rows, attach->used);
    attach->stream.next_in = attach->rows;
    attach->stream.avail_in = (uInt)attach->used;
    readings->plain_bytes += (int64_t)attach->used;
    attach->used = 0;
    do {
        attach->stream.next_out = attach->out;
        attach->stream.avail_out = BUFFER_BYTES;
        state = deflate(&attach->stream, flush);
        const size_t made = BUFFER_BYTES - attach->stream.avail_out;

        if (state == Z_STREAM_ERROR || fwrite(attach->out, 1, made, attach->packed) != made)
            return fault_set_errno(fault, EX_IOERR, "cannot write readings into a temporary file");
        readings->packed_bytes += (int64_t)made;
    } while (attach->stream.avail_out == 0);
    return 0;
}

static int attach_begin(void *context, size_t visit, const struct assess_run *run, struct fault *fault) {
    struct attach *attach = context;
    struct attach_readings *readings = &attach->runs[attach->count];

    (void)visit;
    if (attach->count == ATTACH_MOST_RUNS)
        return fault_set(fault, EX_DATAERR, "more than %d runs: a certificate takes no more", ATTACH_MOST_RUNS);
    memset(readings, 0, sizeof *readings);
    readings->run_id = run->run.run_id;
    snprintf(readings->name, sizeof readings->name, "readings-run-%lld.csv", (long long)run->run.run_id);
    readings->packed_from = ftell(attach->packed);
    attach->run = run;
    attach->channels = attach_name_channels(run->channels, run->channel_count);
    attach->clock = (struct attach_clock){0};
    memset(&attach->stream, 0, sizeof attach->stream);
    if (readings->packed_from < 0 || attach->channels == NULL || deflateInit(&attach->stream, LEVEL) != Z_OK)
        return fault_set(fault, EX_OSERR, "not enough memory for the readings of run %lld",
                         (long long)run->run.run_id);
    attach->stream_open = true;
    EVP_DigestInit_ex(attach->digest, EVP_sha256(), NULL);
    attach->used = (size_t)snprintf((char *)attach->rows, BUFFER_BYTES, "%s", ATTACH_HEADER);
    return 0;
}

/* Thousandths without zeros at the end: "814.25", "-3", "0.005". */
static size_t attach_put_value(char *out, int64_t value) {
    uint64_t size = value < 0 ? 0 - (uint64_t)value : (uint64_t)value;
    char digits[ATTACH_VALUE_BYTES];
    size_t count = 0, at = 0;
    bool fraction = false;

    for (int i = 0; i < ATTACH_DECIMALS; i++, size /= 10) {
        if (fraction || size % 10 != 0) {
            digits[count++] = (char)(DIGIT_ZERO + size % 10);
            fraction = true;
        }
    }
    if (fraction)
        digits[count++] = '.';
    do
        digits[count++] = (char)(DIGIT_ZERO + size % 10);
    while ((size /= 10) != 0);
    if (value < 0)
        out[at++] = '-';
    while (count > 0)
        out[at++] = digits[--count];
    return at;
}

static int attach_reading(void *context, const struct reading *reading, struct fault *fault) {
    struct attach *attach = context;
    const struct attach_channel *channel = attach_find_channel(attach->run->channels, attach->channels,
                                                               attach->run->channel_count, reading->channel_id);
    const char *quality = quality_name(reading->quality);
    char *row = (char *)attach->rows + attach->used;
    size_t at;

    if (channel == NULL)
        return fault_set(fault, EX_SOFTWARE, "a reading of channel %lld in a run without it",
                         (long long)reading->channel_id);
    at = attach_put_time(&attach->clock, reading->t_ms, row);
    memcpy(row + at, channel->text, channel->length);
    at += channel->length;
    if (reading->quality == QUALITY_GOOD)
        at += attach_put_value(row + at, reading->value);
    row[at++] = ',';
    at = (size_t)(stpcpy(row + at, quality) - row);
    row[at++] = '\n';
    attach->used += at;
    attach->runs[attach->count].rows++;
    return attach->used + ATTACH_ROW_BYTES > BUFFER_BYTES ? attach_pack(attach, Z_NO_FLUSH, fault) : 0;
}

static int attach_end(void *context, const struct assess_run *run, struct fault *fault) {
    struct attach *attach = context;
    struct attach_readings *readings = &attach->runs[attach->count];
    unsigned char digest[EVP_MAX_MD_SIZE];

    (void)run;
    if (attach_pack(attach, Z_FINISH, fault) != 0)
        return -1;
    EVP_DigestFinal_ex(attach->digest, digest, NULL);
    for (size_t i = 0; i < KEY_DIGEST_BYTES; i++)
        snprintf(readings->sha256 + 2 * i, 3, "%02x", digest[i]);
    attach_end_run(attach);
    attach->count++;
    return 0;
}

struct assess_watch attach_watch(struct attach *attach) {
    return (struct assess_watch){attach, attach_begin, attach_reading, attach_end};
}
