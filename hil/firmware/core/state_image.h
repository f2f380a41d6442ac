/* The state image: every declared field in order and width, little-endian (rule 15).
 *
 * The image is what the digest is taken over. Tick number and waiting frames are outside. */
#ifndef XB_STATE_IMAGE_H
#define XB_STATE_IMAGE_H

#include "fields.h"
#include "interface.h"

void xb_image_write(xb_engine *engine, xb_writer *writer);

#endif
