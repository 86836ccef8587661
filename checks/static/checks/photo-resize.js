// A photograph made smaller on the phone, upright, with nothing the camera wrote beside
// it: what is drawn anew has no place, no time and no device in it.
"use strict";
(() => {
  const LONGEST_PX = 2000; // as checks/services/pictures.py keeps it
  const QUALITY = 0.85;
  const HEIC = /hei[cf]/i;
  const words = (file) => (HEIC.test(`${file.type} ${file.name}`)
    ? "This is a HEIC picture, which cannot be read here: set the camera to save JPEG, and take it again."
    : "This is no picture that can be read here: a JPEG, PNG or WebP can.");

  async function opened(file) {
    const picture = new Image();
    picture.src = URL.createObjectURL(file);
    try {
      await picture.decode();
    } catch {
      URL.revokeObjectURL(picture.src);
      throw new Error(words(file));
    }
    return picture;
  }

  // A JPEG of at most 2000 px; throws an error whose words are for people.
  async function shrink(file) {
    const picture = await opened(file);
    const { naturalWidth: wide, naturalHeight: high } = picture;
    const scale = Math.min(1, LONGEST_PX / Math.max(wide, high));
    const canvas = document.createElement("canvas");
    canvas.width = Math.max(1, Math.round(wide * scale));
    canvas.height = Math.max(1, Math.round(high * scale));
    const paper = canvas.getContext("2d");
    paper.fillStyle = "#fff";
    paper.fillRect(0, 0, canvas.width, canvas.height);
    paper.imageSmoothingQuality = "high";
    paper.drawImage(picture, 0, 0, canvas.width, canvas.height);
    URL.revokeObjectURL(picture.src);
    const written = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", QUALITY); });
    if (!written) throw new Error("There is no room to make this picture smaller.");
    return written;
  }

  globalThis.padstone = { ...globalThis.padstone, shrink };
})();
