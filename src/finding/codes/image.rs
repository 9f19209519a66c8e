//! Codes of the image and its bands.

codes! {
    "Image", Job;

    IMAGE_AGE "image.age" [Stop]
        "Image or readings are older than the job allows on the day of application."
        "A crop takes up nitrogen and grows between sensing and application, so an old image shows a need that is no longer there. The limit is application.maximum_image_age, 14 days unless stated (common practice, no source). Sense again. Where growth stood still, an adviser may accept it with the reason.";
    IMAGE_AGE_UNCHECKED "image.age_unchecked" [Caution]
        "The job gives no application date, so the age of the image is not checked."
        "A crop outgrows its image within about two weeks. Write application.date, and apply within the days that the message names.";
    IMAGE_DATE "image.date" [Caution, Stop]
        "The date in the image file is missing, or is not the date in the job."
        "The date decides growing days, the age of the image and the weather that counts. Two dates mean a slip of the pen or the wrong image. Give the date of the flight or pass, or the right file. haulm new raises it as a caution when a file states no date.";
    IMAGE_DATE_GUESSED "image.date_guessed" [Caution]
        "The day of the image is a guess, out of its file name."
        "A name may hold the day of delivery or of processing. The age of the image on the day of application hangs on it: check it in the job, or give --date.";
    IMAGE_STATE_UNKNOWN "image.state_unknown" [Caution]
        "An input was read over the network, and its server does not say what state of it that was."
        "The record names size and hash of every file of this machine, and of one on a network what its server says: size, ETag, time of the last change. Where the server says nothing, the map cannot be made again for certain. Keep a copy of the file with the map.";
    IMAGE_BAND_NAME "image.band_name" [Stop]
        "The job takes a band for one colour, and the file calls it another."
        "With red and near infrared exchanged the greenest ground looks poorest, and every rate is turned round. Correct imagery.bands, or take it out: a file that names its bands needs none.";
    IMAGE_BANDS "image.bands" [Caution]
        "Two bands are not in the order that a green crop shows."
        "Green leaves reflect far more near infrared than red. When most of the field shows the opposite, the bands are probably exchanged, or the crop is not green yet. Look up the order of bands in the camera's manual and correct imagery.bands.";
    IMAGE_ONE_BAND "image.one_band" [Note]
        "The image has one band, which is taken for a finished index."
        "haulm new then writes index = \"band 1\". A finished index keeps no trace of scale, offset or bands, so check that it is the index that the yield curve was fitted with. Better give the bands.";
    IMAGE_FULL "image.full" [Caution, Stop]
        "Pixels hold the highest number that the band can store."
        "They are saturated, or mark missing data that the file does not declare. Either way their index is wrong. Above 1 % of the field it stops (own rule). Write imagery.nodata if the number stands for no data; else have the image exported again with another exposure or scale.";
    IMAGE_NEGATIVE "image.negative" [Note]
        "A few pixels have a reflectance below 0."
        "No reflectance is negative; atmospheric correction leaves some over shade and water. Up to 1 % of the field is a note, more is refused, since then scale or offset is wrong. If they lie in the crop, look at imagery.scale and imagery.offset.";
    IMAGE_COARSE "image.coarse" [Caution]
        "Pixels of 30 m are coarse for zones of a field below 5 ha."
        "Most pixels then mix the crop with the road, hedge or field next to it, and few pure pixels are left (common practice, no source). Use a finer image, or give the field one flat rate with haulm rate.";
    IMAGE_COARSER "image.coarser" [Note]
        "One band has coarser pixels than the finest band."
        "Each fine pixel takes the value of the coarse pixel around it. The index then looks sharper than it is: the true resolution is that of the coarsest band that it uses. Choose an index of bands with equal pixels where small zones matter.";
    IMAGE_LOSSY "image.lossy" [Caution]
        "The image is stored with loss, like a photograph."
        "Lossy compression changes pixel values, most of all along edges, and an index of such values is off by an unknown amount. Export the image again with DEFLATE, LZW or ZSTD.";
    IMAGE_RESAMPLED "image.resampled" [Caution]
        "The file makes its pixels out of others."
        "Warped or resized pixels mix their neighbours, so edges of strip and field are less sharp than the pixel size says, and the reference strip reads nearer to the crop next to it. Give the original images.";
    IMAGE_FACTORS "image.factors" [Caution]
        "Scale or offset of a satellite product's band is unusual or uncertain."
        "Offset and scale turn stored numbers into reflectance; a wrong offset moves every index. The message says what the metadata state. Compare with the product's documentation, and give imagery.scale and imagery.offset where you know better.";
    IMAGE_PRODUCT "image.product" [Note]
        "The image is a satellite product, read with its own scale, offset and cloud mask."
        "Cloud, shadow and snow are masked by the product's own classes unless the job names a mask. Masks miss haze and small shadows, so look at the index map before you use it.";
    IMAGE_OUT_OF_RANGE "image.out_of_range" [Caution]
        "Pixels have an index outside its possible range and count as no image."
        "An NDVI above 1 or below -1 comes from wrong scale, wrong bands or damaged pixels. A handful does no harm. If there are many, check imagery.bands, scale and offset; the message gives the first place.";
    IMAGE_UNDEFINED "image.undefined" [Note]
        "Pixels have no index, since its denominator is not above 0."
        "They count as no image. It happens over deep shade and water, or where both bands are 0 for missing data. Write imagery.nodata if 0 stands for missing data.";
    IMAGE_UNSEEN "image.unseen" [Stop]
        "More than a quarter of the field has no image."
        "Ground without an image gets one rate that has nothing to do with its crop. On more than 25 % of the field (own rule) that is no prescription. Use another image, or one flat rate with haulm rate.";
    IMAGE_UNSEEN_PART "image.unseen_part" [Note]
        "Part of the field has no image and gets the rate that the job states for it."
        "Cloud, shadow, missing pixels or cells cut by the edge. The share stands in the message, the ground on the map. Look whether rate.unseen is a rate that you would give without knowing the crop.";
}
