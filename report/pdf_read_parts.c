// SPDX-License-Identifier: MIT
/* What a certificate carries: attached files and a signature. */
#include <openssl/evp.h>
#include <string.h>
#include <zlib.h>

#include "pdf_read.h"

enum { PIECE_BYTES = 65536, HEX_DIGITS = 2 };

static int parts_refuse(struct fault *fault, const char *what) {
    return fault_set(fault, EX_DATAERR, "not as soakledger writes a certificate, or altered: %s", what);
}

/* The next "N 0 R" of an array, 0 at its end. `at` is kept between calls. */
static size_t next_reference(const struct pdf_read *read, struct pdf_span array, size_t *at) {
    struct pdf_span rest;
    size_t length = 0;

    while (*at < array.length && (array.from[*at] == '[' || array.from[*at] == ' '))
        (*at)++;
    rest = (struct pdf_span){array.from + *at, array.length - *at};
    length = pdf_span_find(rest, " R") + strlen(" R");
    if (length > rest.length)
        return 0;
    *at += length;
    return pdf_read_reference(read, (struct pdf_span){rest.from, length});
}

/* ---- attached files ---- */

static bool read_name(struct pdf_span value, char *out, size_t size) {
    if (value.length < 3 || value.length - 2 >= size || value.from[0] != '(' || value.from[value.length - 1] != ')')
        return false;
    for (size_t i = 1; i + 1 < value.length; i++) {
        const unsigned char byte = value.from[i];

        if (byte <= ' ' || byte > '~' || strchr("()\\/", byte) != NULL)
            return false;
        out[i - 1] = (char)byte;
    }
    out[value.length - 2] = '\0';
    return true;
}

/* "<< ... /Filter /FlateDecode /Length N >>\nstream\r\n", N bytes, "\nendstream\n" and nothing more. */
static bool read_stream(struct pdf_span object, struct pdf_span *packed) {
    static const char begin[] = " >>\nstream\r\n", end[] = "\nendstream\n";
    const int64_t length = pdf_read_number(pdf_read_value(object, "/Length"));
    const struct pdf_span filter = pdf_read_value(object, "/Filter");
    const size_t head = pdf_span_find(object, begin);

    if (length < 0 || head >= object.length || filter.length != strlen("/FlateDecode") ||
        memcmp(filter.from, "/FlateDecode", filter.length) != 0 || filter.from > object.from + head ||
        object.length - head != strlen(begin) + (size_t)length + strlen(end) ||
        memcmp(object.from + object.length - strlen(end), end, strlen(end)) != 0)
        return false;
    *packed = (struct pdf_span){object.from + head + strlen(begin), (size_t)length};
    return true;
}

int pdf_read_attached(const struct pdf_read *read, struct pdf_attached *attached, int most, struct fault *fault) {
    const struct pdf_span array = pdf_read_value(read->objects[read->root], "/AF");
    size_t at = 0, object;
    int count = 0;

    while ((object = next_reference(read, array, &at)) != 0) {
        const struct pdf_span specification = read->objects[object];
        const struct pdf_span embedded = pdf_read_value(specification, "/EF");
        const size_t stream = pdf_read_reference(read, pdf_read_value(embedded, "/F"));

        if (count == most)
            return parts_refuse(fault, "too many attached files");
        if (!read_name(pdf_read_value(specification, "/F"), attached[count].name, sizeof attached[count].name) ||
            stream == 0 || !read_stream(read->objects[stream], &attached[count].packed))
            return parts_refuse(fault, "an attached file");
        for (int i = 0; i < count; i++)
            if (strcmp(attached[i].name, attached[count].name) == 0)
                return parts_refuse(fault, "two attached files of one name");
        count++;
    }
    return count;
}

int pdf_read_unpack(const struct pdf_attached *attached, int64_t most, pdf_take_piece *take, void *context,
                    struct fault *fault) {
    unsigned char piece[PIECE_BYTES];
    z_stream stream = {0};
    int64_t total = 0;
    int state = Z_OK, result = 0;

    if (attached->packed.length > UINT32_MAX)
        return fault_set(fault, EX_DATAERR, "%s: too large", attached->name);
    stream.next_in = (unsigned char *)attached->packed.from;
    stream.avail_in = (uInt)attached->packed.length;
    if (inflateInit(&stream) != Z_OK)
        return fault_set(fault, EX_OSERR, "%s: not enough memory to unpack", attached->name);
    while (result == 0 && state == Z_OK) {
        stream.next_out = piece;
        stream.avail_out = PIECE_BYTES;
        state = inflate(&stream, Z_NO_FLUSH);
        total += PIECE_BYTES - (int64_t)stream.avail_out;
        if ((state != Z_OK && state != Z_STREAM_END) || (state == Z_STREAM_END && stream.avail_in > 0))
            result = fault_set(fault, EX_DATAERR, "%s: cannot be unpacked", attached->name);
        else if (total > most)
            result = fault_set(fault, EX_DATAERR, "%s: more than %lld bytes", attached->name, (long long)most);
        else
            result = take(context, piece, PIECE_BYTES - stream.avail_out, fault);
    }
    inflateEnd(&stream);
    return result;
}

/* ---- the signature ---- */

static int hex_value(unsigned char digit) {
    if (digit >= '0' && digit <= '9')
        return digit - '0';
    return digit >= 'a' && digit <= 'f' ? digit - 'a' + 10 : -1;
}

static bool read_contents(struct pdf_span contents, unsigned char *der) {
    if (contents.length != HEX_DIGITS * PDF_CONTENTS_BYTES + 2 || contents.from[0] != '<' ||
        contents.from[contents.length - 1] != '>')
        return false;
    for (size_t i = 0; i < PDF_CONTENTS_BYTES; i++) {
        const int high = hex_value(contents.from[1 + 2 * i]), low = hex_value(contents.from[2 + 2 * i]);

        if (high < 0 || low < 0)
            return false;
        der[i] = (unsigned char)(high << 4 | low);
    }
    return true;
}

/* The range must be the whole file but for the contents: nothing stands outside of what was signed. */
static bool read_range(const struct pdf_read *read, struct pdf_span range, struct pdf_span contents) {
    char expected[128];
    const size_t at = (size_t)(contents.from - read->bytes), end = at + contents.length;
    const int length = snprintf(expected, sizeof expected, "[0 %010zu %010zu %010zu]", at, end, read->length - end);

    return range.length == (size_t)length && memcmp(range.from, expected, range.length) == 0;
}

static bool digest_around(const struct pdf_read *read, struct pdf_span contents, unsigned char *digest) {
    const size_t at = (size_t)(contents.from - read->bytes), end = at + contents.length;
    unsigned char whole[EVP_MAX_MD_SIZE];
    EVP_MD_CTX *context = EVP_MD_CTX_new();
    const bool done = context != NULL && EVP_DigestInit_ex(context, EVP_sha256(), NULL) == 1 &&
                      EVP_DigestUpdate(context, read->bytes, at) == 1 &&
                      EVP_DigestUpdate(context, read->bytes + end, read->length - end) == 1 &&
                      EVP_DigestFinal_ex(context, whole, NULL) == 1;

    if (done)
        memcpy(digest, whole, KEY_DIGEST_BYTES);
    EVP_MD_CTX_free(context);
    return done;
}

int pdf_read_signature(const struct pdf_read *read, struct pdf_signature *signature, struct fault *fault) {
    const struct pdf_span form = pdf_read_value(read->objects[read->root], "/AcroForm");
    const struct pdf_span fields = pdf_read_value(form, "/Fields");
    struct pdf_span object, contents;
    size_t at = 0, field, value;

    signature->is_there = form.length > 0;
    if (!signature->is_there)
        return 0;
    field = next_reference(read, fields, &at);
    value = field != 0 ? pdf_read_reference(read, pdf_read_value(read->objects[field], "/V")) : 0;
    if (value == 0 || next_reference(read, fields, &at) != 0)
        return parts_refuse(fault, "its signature's field");
    object = read->objects[value];
    contents = pdf_read_value(object, "/Contents");
    if (!read_contents(contents, signature->der))
        return parts_refuse(fault, "its signature");
    if (!read_range(read, pdf_read_value(object, "/ByteRange"), contents))
        return parts_refuse(fault, "its signature does not cover the whole file");
    return digest_around(read, contents, signature->digest)
               ? 0
               : fault_set(fault, EX_OSERR, "not enough memory to check a signature");
}
