/** The newest sub's picture, grey for the day and without any green or blue for the night. */
export interface Pictures {
  readonly id: number;
  readonly day: string;
  readonly night: string;
}

/** Red alone looks darker than grey: the red one is made brighter by this factor. */
const RED_GAIN = 1.9;

/** Null where there is none. A filter of the browser's would let the edges through: the pixels themselves are made red. */
export async function fetchPictures(id: number): Promise<Pictures | null> {
  const answer = await fetch('/picture.jpg', { cache: 'no-store' });
  if (!answer.ok) return null;
  const grey = await answer.blob();
  return { id, day: URL.createObjectURL(grey), night: URL.createObjectURL(await reddened(grey)) };
}

export function forget(pictures: Pictures): void {
  URL.revokeObjectURL(pictures.day);
  URL.revokeObjectURL(pictures.night);
}

async function reddened(grey: Blob): Promise<Blob> {
  const bitmap = await createImageBitmap(grey);
  const canvas = document.createElement('canvas');
  canvas.width = bitmap.width;
  canvas.height = bitmap.height;
  const context = canvas.getContext('2d');
  if (context === null) return grey;
  context.drawImage(bitmap, 0, 0);
  bitmap.close();
  const image = context.getImageData(0, 0, canvas.width, canvas.height);
  const { data } = image;
  for (let i = 0; i < data.length; i += 4) {
    data[i] = Math.min(255, RED_GAIN * (data[i] ?? 0));
    data[i + 1] = 0;
    data[i + 2] = 0;
  }
  context.putImageData(image, 0, 0);
  // Lossless: JPEG would bring the other colours back.
  return new Promise((resolve, reject) => {
    canvas.toBlob((blob) => {
      if (blob === null) reject(new Error('no picture'));
      else resolve(blob);
    }, 'image/png');
  });
}
