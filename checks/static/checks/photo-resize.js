// Re-encode a photograph on the phone: upright, smaller, and without what the camera wrote
// beside the picture. A picture that was drawn anew carries no place, time or device.

const MAX_SIDE_PX = 2000; // as the server's image normalisation
const JPEG_QUALITY = 0.85;
const HEIC = /hei[cf]/i;

const describeUnreadable = (file) => (HEIC.test(`${file.type} ${file.name}`)
  ? "HEIC images are not supported. Set the camera to JPEG and take the photograph again."
  : "This file is not a supported image. Choose a JPEG, PNG or WebP.");

async function decodeImage(file) {
  const image = new Image();
  image.src = URL.createObjectURL(file);
  try {
    await image.decode();
  } catch {
    URL.revokeObjectURL(image.src);
    throw new Error(describeUnreadable(file));
  }
  return image;
}

// Return a JPEG of at most 2000 px a side; rejects with a message for the reader.
export async function resizePhoto(file) {
  const image = await decodeImage(file);
  const { naturalWidth, naturalHeight } = image;
  const scale = Math.min(1, MAX_SIDE_PX / Math.max(naturalWidth, naturalHeight));
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(naturalWidth * scale));
  canvas.height = Math.max(1, Math.round(naturalHeight * scale));
  const context = canvas.getContext("2d");
  context.fillStyle = "#fff"; // JPEG has no transparency
  context.fillRect(0, 0, canvas.width, canvas.height);
  context.imageSmoothingQuality = "high";
  context.drawImage(image, 0, 0, canvas.width, canvas.height);
  URL.revokeObjectURL(image.src);
  const jpeg = await new Promise((resolve) => { canvas.toBlob(resolve, "image/jpeg", JPEG_QUALITY); });
  if (!jpeg) throw new Error("This browser has no room to resize the picture.");
  return jpeg;
}
