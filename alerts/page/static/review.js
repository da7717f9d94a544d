// Lets the pictures of a review come when the page is there, wherever they stand on it, so that print has them, too.
// Without it a browser fetches each when it comes near the screen, or is printed.

const pictures = document.querySelectorAll(".pictures img");

function fetchPictures() {
  for (const picture of pictures) picture.loading = "eager";
}

// Drawing takes a small board some seconds each. While too many wait for pictures, one is refused, and asked for again.
const TRY_AGAIN_MS = 10_000;
const MOST_TRIES = 12;

for (const picture of pictures) {
  if (picture.complete && picture.naturalWidth) continue;
  const frame = picture.parentElement;
  let tries = 0;
  frame.classList.add("coming");
  picture.addEventListener("load", () => frame.classList.remove("coming"));
  picture.addEventListener("error", () => {
    tries += 1;
    if (tries < MOST_TRIES) setTimeout(() => (picture.src = picture.src), TRY_AGAIN_MS);
    else frame.classList.remove("coming");
  });
}

if (document.readyState === "complete") fetchPictures();
else addEventListener("load", fetchPictures);
addEventListener("beforeprint", fetchPictures);
