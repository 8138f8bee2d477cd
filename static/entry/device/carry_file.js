/** A carry file of what is on this device, exactly as docs/carry-file.md says: to hand in by cable, card or mail. */
import { canonical } from "./canonical.js";
import { sha256 } from "./digest.js";
import { Zip } from "./zip.js";

/** What one file takes of photos: it must lie in a phone's share sheet, and a card formatted as FAT32 holds 4 GiB at most. */
export const MOST_PHOTO_BYTES = 1024 ** 3;

/**
 * @param {{programme: string, programme_name: string, device: string, name: string}} pairing
 * @param {string[]} lines of entries, as they travel
 * @param {AsyncIterable<{photo: string, bytes: ArrayBuffer}>} photos
 * @returns {Promise<File>}
 */
export async function carryFile({ programme, programme_name, device, name }, lines, photos) {
  const about = canonical({ format: "fieldkit carry file", version: 1, programme, programme_name, source: device });
  const zip = new Zip();
  const listed = [];
  const add = async (member, bytes, digest) => {
    zip.add(member, bytes);
    listed.push(`["${member}","${digest ?? (await sha256(bytes))}",${bytes.byteLength}]`);
  };
  await add("about.json", utf8(about));
  await add("entries.txt", utf8(lines.join("")));
  for await (const { photo, bytes } of photos) await add(`photos/${photo}`, bytes, photo);
  zip.add("end.json", utf8(`{"members":[\n${listed.join(",\n")}\n]}\n`));
  return new File(zip.parts(), fileName(name), { type: "application/zip" });
}

function utf8(text) {
  return new TextEncoder().encode(text).buffer;
}

/** Letters and figures alone: whatever a phone is called, every system can save it. */
function fileName(name) {
  const plain = name.normalize("NFKD").replace(/[^A-Za-z0-9]+/g, " ").trim().slice(0, 40) || "device";
  const now = new Date();
  const two = (number) => String(number).padStart(2, "0");
  const time = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())} ${two(now.getHours())}${two(now.getMinutes())}`;
  return `fieldkit ${plain} ${time}.zip`;
}
