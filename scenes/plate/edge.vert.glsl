// One piece of an edge, widened to a pixel on either side: the surface's own colour, fading outwards.
in vec2 corner;  // which end (0, 1), which side (-1, 1)
in vec3 from_mm;
in vec3 to_mm;
in vec3 from_normal;
in vec3 to_normal;
in vec4 material_shades;  // material, shades of both ends, 1 where flat surfaces meet
uniform vec2 size_px;
uniform float pixel_rad;
out vec3 at;
out vec3 n;
out vec2 ms;
#ifdef GL_ES
out vec2 across_w;  // ES interpolates in perspective alone: the quotient of these two is straight across the screen
#else
noperspective out float across;
#endif

const float NEAREST = 25.0;

void main() {
    vec4 a = clip_from_table * vec4(from_mm, 1.0);
    vec4 b = clip_from_table * vec4(to_mm, 1.0);
    // the part in front of the eye
    float from_t = a.w < NEAREST ? clamp((NEAREST - a.w) / (b.w - a.w), 0.0, 1.0) : 0.0;
    float to_t = b.w < NEAREST ? clamp((NEAREST - a.w) / (b.w - a.w), 0.0, 1.0) : 1.0;
    float t = corner.x < 0.5 ? from_t : to_t;
    at = mix(from_mm, to_mm, t);
    n = mix(from_normal, to_normal, t);
    ms = vec2(material_shades.x, mix(material_shades.y, material_shades.z, t));
    vec4 p = mix(a, b, from_t);
    vec4 q = mix(a, b, to_t);
    vec2 along = (q.xy / q.w - p.xy / p.w) * size_px;
    float run = length(along);
    // nearer to the eye, where flat surfaces meet by what a pixel covers of them, so that they do not hide it
    vec3 to_eye = eye_mm - at;
    float far = length(to_eye);
    vec3 nearer = at + to_eye / far * (0.7 + material_shades.w * 2.5 * far * far * pixel_rad / max(to_eye.z, 0.05 * far));
    gl_Position = clip_from_table * vec4(nearer, 1.0);
#ifdef GL_ES
    across_w = vec2(corner.y, 1.0) * gl_Position.w;
#else
    across = corner.y;
#endif
    if (max(a.w, b.w) < NEAREST || run < 1e-4) {
        gl_Position = vec4(2.0, 2.0, 2.0, 1.0);
        return;
    }
    vec2 square = vec2(-along.y, along.x) / run;
    gl_Position.xy += corner.y * square * 2.0 / size_px * gl_Position.w;
}
