// SPDX-License-Identifier: MIT
/* ink: the few colours of the sheets. All are dark enough for white paper, differ in lightness as well as in hue,
 * and none carries a meaning that a shape or a word does not carry as well. */
#ifndef SOAKLEDGER_INK_H
#define SOAKLEDGER_INK_H

#include "soakledger/page.h"

static const struct page_colour INK_TEXT = {0.11F, 0.13F, 0.16F};
static const struct page_colour INK_QUIET = {0.36F, 0.39F, 0.43F};
static const struct page_colour INK_RULE = {0.72F, 0.74F, 0.77F};
static const struct page_colour INK_GRID = {0.88F, 0.89F, 0.90F};
static const struct page_colour INK_PAPER = {1.0F, 1.0F, 1.0F};
static const struct page_colour INK_BAND = {0.93F, 0.93F, 0.86F};
static const struct page_colour INK_BAND_EDGE = {0.42F, 0.36F, 0.12F};
static const struct page_colour INK_MET = {0.03F, 0.33F, 0.31F};
static const struct page_colour INK_NOT_MET = {0.55F, 0.07F, 0.16F};
static const struct page_colour INK_NOT_PROVEN = {0.45F, 0.30F, 0.02F};

#endif
