/** A small copy of a photo for its row. */

const LONGEST_PX = 320; // chosen: a third of a phone's width at three device pixels to one, some 20 kB
const QUALITY = 0.7;

/**
 * @param {Blob} photo
 * @returns {Promise<Blob | null>} null where this browser cannot show it (HEIC, or no picture at all)
 */
export async function smallCopy(photo) {
  const picture = await createImageBitmap(photo, { imageOrientation: "from-image" }).catch(() => null);
  if (!picture) return null;
  const share = Math.min(1, LONGEST_PX / Math.max(picture.width, picture.height));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * share));
  canvas.height = Math.max(1, Math.round(picture.height * share));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
}
