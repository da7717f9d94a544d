// Lets the pictures of a review come when the page is there, wherever they stand on it, so that print has them, too.
// Without it a browser fetches each when it comes near the screen, or is printed.

function fetchPictures() {
  for (const picture of document.querySelectorAll(".pictures img")) picture.loading = "eager";
}

if (document.readyState === "complete") fetchPictures();
else addEventListener("load", fetchPictures);
addEventListener("beforeprint", fetchPictures);
