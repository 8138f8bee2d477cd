/**
 * When a JPEG was taken, by its camera: the EXIF field DateTimeOriginal. The same as fieldkit/photos/look.py tells.
 *
 * Source: CIPA DC-008 (Exif 3.0), 4.5 and 4.6; TIFF 6.0, section 2.
 */

const EXIF_BLOCK = 0x8769;
const TIME_TAKEN = 0x9003;
const BYTES_OF_A_FIELD = 12;

/**
 * @param {ArrayBuffer} photo
 * @returns {string | null} `2026-11-10T08:31:07`, of what zone nobody knows; null where it is absent, or no time
 */
export function cameraTime(photo) {
  try {
    const exif = exifOf(new DataView(photo));
    const told = exif && new Tiff(exif).textAt(TIME_TAKEN);
    const [, day, time] = /^(\d{4}:\d\d:\d\d) (\d\d:\d\d:\d\d)$/.exec(told?.replace(/[\0 ]+$/, "") ?? "") ?? [];
    const text = day && `${day.replaceAll(":", "-")}T${time}`;
    return text && isTime(text) ? text : null;
  } catch (error) {
    if (error instanceof RangeError) return null; // a photo whose EXIF is broken is a photo all the same
    throw error;
  }
}

/** The view of the TIFF inside the segment APP1; null where the JPEG has none. */
function exifOf(view) {
  if (view.getUint16(0) !== 0xffd8) return null;
  for (let at = 2; view.getUint8(at) === 0xff; at += 2 + view.getUint16(at + 2)) {
    if (view.getUint8(at + 1) === 0xda) return null; // the picture itself begins
    const isExif = view.getUint8(at + 1) === 0xe1 && view.getUint32(at + 4) === 0x45786966;
    if (isExif) return new DataView(view.buffer, view.byteOffset + at + 10, view.getUint16(at + 2) - 8);
  }
  return null;
}

class Tiff {
  constructor(view) {
    this.view = view;
    this.isLittle = view.getUint16(0) === 0x4949;
  }

  /** The text of a field in the EXIF block. */
  textAt(tag) {
    const block = this.#field(this.#long(4), EXIF_BLOCK);
    const field = block && this.#field(this.#long(block + 8), tag);
    if (!field) return null;
    const length = this.#long(field + 4);
    const start = length > 4 ? this.#long(field + 8) : field + 8;
    return String.fromCharCode(...Array.from({ length: Math.min(length, 64) }, (_, i) => this.view.getUint8(start + i)));
  }

  /** Where the field stands in the directory at this place. */
  #field(directory, tag) {
    const fields = this.view.getUint16(directory, this.isLittle);
    for (let i = 0; i < fields; i += 1) {
      const at = directory + 2 + i * BYTES_OF_A_FIELD;
      if (this.view.getUint16(at, this.isLittle) === tag) return at;
    }
    return null;
  }

  #long(at) {
    return this.view.getUint32(at, this.isLittle);
  }
}

/** A camera whose clock was never set tells zeros; the 31st of February is no time either. */
function isTime(text) {
  const time = new Date(`${text}Z`);
  return !Number.isNaN(time.getTime()) && time.toISOString().startsWith(text) && !text.startsWith("0000");
}
